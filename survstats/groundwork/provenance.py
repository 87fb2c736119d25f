"""Which bytes and which versions a result came from."""

from __future__ import annotations

import hashlib
import json
import platform
from collections.abc import Mapping, Sequence
from importlib import metadata
from pathlib import Path

from survstats import __version__

PACKAGES = ("numpy", "scipy", "pandas", "matplotlib", "typst")

#: The steps of a study in order, and the hashes that each is sealed with.
STEPS: Mapping[str, tuple[str, ...]] = {
    "locked": ("study_file", "plan", "thresholds", "choices"),
    "outcomes_read": ("records",),
    "judged": ("verdict",),
}


def file_hash(path: Path) -> str:
    """SHA-256 of a file's bytes, in hexadecimal."""
    return bytes_hash(path.read_bytes())


def bytes_hash(data: bytes) -> str:
    """SHA-256 of bytes, in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def versions() -> dict[str, str]:
    """Versions of survstats, of Python and of the packages that numbers and papers depend on."""
    found = {"survstats": __version__, "python": platform.python_version()}
    for name in PACKAGES:
        try:
            found[name] = metadata.version(name)
        except metadata.PackageNotFoundError:
            continue
    return found


def seal(before: str, step: str, facts: Mapping[str, str]) -> str:
    """SHA-256 of a step, of what it was done with and of the seal of the step before it (empty for the first).

    A seal cannot be made before the one it stands on, nor kept when anything before it is changed or moved.
    """
    return bytes_hash(json.dumps([before, step, dict(facts)], sort_keys=True).encode())


def unbroken(order: Sequence[Mapping[str, str]]) -> bool:
    """Whether a list of steps, each with ``step``, its facts and its ``seal``, is whole and in order.

    The facts of a step are those of `STEPS`; the list is that of a manifest.
    """
    before = ""
    for entry, (step, names) in zip(order, STEPS.items(), strict=False):
        if entry.get("step") != step or set(entry) != {"step", "seal", *names}:
            return False
        if entry["seal"] != seal(before, step, {name: entry[name] for name in names}):
            return False
        before = entry["seal"]
    return len(order) == len(STEPS)
