"""Which bytes and which versions a result came from."""

from __future__ import annotations

import hashlib
import platform
from importlib import metadata
from pathlib import Path

from survstats import __version__

PACKAGES = ("numpy", "scipy", "pandas", "matplotlib", "typst")


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
