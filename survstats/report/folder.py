"""How does a folder of papers appear whole or not at all?

All files are written to a hidden sibling first. Where the folder does not exist yet the sibling is renamed; where it
does the two change places in one step (Linux `renameat2` with exchange), so that at no moment is a report torn or
missing. Where the system cannot exchange, the old folder is moved aside first and moved back if the second step fails.
"""

from __future__ import annotations

import ctypes
import errno
import json
import os
import re
import secrets
import shutil
import sys
import time
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from survstats.groundwork.errors import PublishError
from survstats.groundwork.whole_file import cannot_write

MANIFEST = "manifest.json"
MADE_BY = "survstats"
_FILES = (
    MANIFEST,
    "results.json",
    "worksheet.html",
    *(f"{paper}.{kind}" for paper in ("annex", "brief", "budget", "records") for kind in ("html", "pdf")),
)
_FOLDERS = {"tables": (".csv",), "figures": (".csv", ".svg")}
_LEFT_BEHIND_S = 24 * 3600
"""A hidden sibling older than this belongs to a run that was killed; a younger one may still be written."""
_TOKEN_BYTES = 8
_EXCHANGE = 2
_HERE = -100


def write_folder(directory: Path, files: Mapping[str, bytes]) -> None:
    """Put all files into the folder ``directory``, replacing an earlier report, whole or not at all.

    Parameters
    ----------
    directory : Path
        Its parent must exist.
    files : mapping of str to bytes
        Contents by name; a name may hold folders (``"tables/ledger.csv"``).

    Raises
    ------
    PublishError
        ``no_parent``, ``not_a_folder``, ``not_a_report`` (other things in it, or papers of a real study where those of
        an invented one were to go), ``not_writable``, ``disk_full``, ``not_written``. The folder is then as it was.
    """
    directory = Path(os.path.abspath(directory))
    fresh: Path | None = None
    try:
        _demand_parent(directory)
        _sweep(directory)
        _check_place(directory, files)
        fresh = _hidden(directory, "new")
        os.mkdir(fresh)
        _fill(fresh, files)
        _put(fresh, directory)
    except OSError as fault:
        raise cannot_write(directory, fault) from fault
    finally:
        if fresh is not None:
            shutil.rmtree(fresh, ignore_errors=True)


def refuse_place(directory: Path) -> None:
    """Refuse a place that no papers could go to, before the work is done.

    Raises
    ------
    PublishError
        As `write_folder`, as far as it can be told beforehand.
    """
    directory = Path(os.path.abspath(directory))
    try:
        _demand_parent(directory)
        _check_place(directory, {})
    except OSError as fault:
        raise cannot_write(directory, fault) from fault


def _demand_parent(directory: Path) -> None:
    if not directory.parent.is_dir():
        raise PublishError("no_parent", f"The folder {directory.parent} does not exist.", "Make it first.")


def _check_place(directory: Path, files: Mapping[str, bytes]) -> None:
    if not (directory.exists() or directory.is_symlink()):
        return
    if directory.is_symlink() or not directory.is_dir():
        raise PublishError(
            "not_a_folder", f"{directory} is not a folder.", "Choose another place for the papers."
        )
    if not any(directory.iterdir()):
        return
    manifest = directory / MANIFEST
    earlier = _manifest(manifest.read_bytes()) if manifest.is_file() else {}
    if earlier.get("made_by") != MADE_BY or not all(
        _is_ours(path, directory) for path in directory.rglob("*")
    ):
        raise PublishError(
            "not_a_report",
            f"{directory} holds other files than an earlier report, so it was left alone.",
            "Name an empty or a new folder.",
        )
    if earlier.get("invented") == "no" and _manifest(files.get(MANIFEST, b"")).get("invented") == "yes":
        raise PublishError(
            "not_a_report",
            f"{directory} holds the papers of a real study and these are of an invented one, so it was left alone.",
            "Name another folder.",
        )


def _is_ours(path: Path, directory: Path) -> bool:
    """Whether a report has a file or folder of this name."""
    name, *inner = path.relative_to(directory).parts
    if name in _FILES:
        return not inner and path.is_file()
    return name in _FOLDERS and (
        path.is_dir() if not inner else len(inner) == 1 and path.suffix in _FOLDERS[name] and path.is_file()
    )


def _manifest(raw: bytes) -> dict[str, Any]:
    """What a manifest says; nothing where it is none."""
    try:
        content = json.loads(raw)
    except (ValueError, RecursionError):
        return {}
    return content if isinstance(content, dict) else {}


def _hidden(directory: Path, kind: str) -> Path:
    """A new name beside the folder."""
    return directory.with_name(f".{directory.name}.{kind}-{secrets.token_hex(_TOKEN_BYTES)}")


def _siblings(directory: Path, kind: str) -> Iterator[Path]:
    """The hidden folders of a kind (``new``, ``old``) that any run has made beside the folder."""
    form = re.compile(rf"\.{re.escape(directory.name)}\.{kind}-[0-9a-f]{{{2 * _TOKEN_BYTES}}}")
    return (path for path in sorted(directory.parent.iterdir()) if form.fullmatch(path.name))


def _sweep(directory: Path) -> None:
    """Remove what earlier runs left behind when they were killed; bring back a folder moved aside but not replaced."""
    for old in _siblings(directory, "old"):
        if directory.exists():
            shutil.rmtree(old, ignore_errors=True)
        else:
            os.rename(old, directory)
    for half in _siblings(directory, "new"):
        try:
            age_s = time.time() - half.stat().st_mtime
        except FileNotFoundError:  # its own run has just removed it
            continue
        if age_s > _LEFT_BEHIND_S:
            shutil.rmtree(half, ignore_errors=True)


def _fill(folder: Path, files: Mapping[str, bytes]) -> None:
    for name, content in files.items():
        target = folder / name
        if folder not in Path(os.path.abspath(target)).parents:
            raise PublishError("not_written", f"The file name {name} leads out of the folder.")
        target.parent.mkdir(parents=True, exist_ok=True)
        with target.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
    written = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
    if written != set(files):
        raise PublishError(
            "not_written", "Something changed the papers while they were written.", "Try again."
        )
    for part in [folder, *(path for path in folder.rglob("*") if path.is_dir())]:
        _fsync_folder(part)


def _put(fresh: Path, directory: Path) -> None:
    """Give the fresh folder its name; afterwards ``fresh`` names the old one, if there was one."""
    if not (_take(fresh, directory) or _exchange(fresh, directory)):
        aside = _hidden(directory, "old")
        os.rename(directory, aside)
        try:
            os.rename(fresh, directory)
        except OSError:
            os.rename(aside, directory)
            raise
        shutil.rmtree(aside, ignore_errors=True)
    _fsync_folder(directory.parent)


def _take(fresh: Path, directory: Path) -> bool:
    """Take a name that is free; False where it is not, or another run has just taken it."""
    if directory.exists():
        return False
    try:
        os.rename(fresh, directory)
    except OSError as fault:
        if fault.errno in (errno.EEXIST, errno.ENOTEMPTY):
            return False
        raise
    return True


def _exchange(one: Path, other: Path) -> bool:
    """Let two folders change their names in one step; False where the system cannot."""
    if not sys.platform.startswith("linux"):
        return False
    rename = getattr(ctypes.CDLL(None, use_errno=True), "renameat2", None)
    if rename is None:
        return False
    if rename(_HERE, os.fsencode(one), _HERE, os.fsencode(other), _EXCHANGE) == 0:
        return True
    code = ctypes.get_errno()
    if code in (errno.EINVAL, errno.ENOSYS, errno.ENOTSUP, errno.EPERM):
        return False
    raise OSError(code, os.strerror(code), str(other))


def _fsync_folder(folder: Path) -> None:
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
