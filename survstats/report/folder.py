"""How does a folder of papers appear whole or not at all?

All files are written to a hidden sibling first. Where the folder does not exist yet the sibling is renamed; where it
does the two change places in one step (Linux `renameat2` with exchange), so that at no moment is a report torn or
missing. Where the system cannot exchange, the old folder is moved aside first and moved back if the second step fails.
"""

from __future__ import annotations

import ctypes
import errno
import os
import shutil
import sys
import tempfile
from collections.abc import Mapping
from pathlib import Path

from survstats.groundwork.errors import PublishError

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
        ``no_parent``, ``not_a_folder``, ``not_a_report`` (a folder with other things in it), ``not_writable``,
        ``disk_full``, ``not_written``. The folder is then as it was before.
    """
    directory = Path(os.path.abspath(directory))
    _check_place(directory)
    fresh: Path | None = None
    try:
        _sweep(directory)
        fresh = Path(tempfile.mkdtemp(prefix=f".{directory.name}.new-", dir=directory.parent))
        _fill(fresh, files)
        _put(fresh, directory)
    except OSError as fault:
        raise _told(fault, directory) from fault
    finally:
        if fresh is not None:
            shutil.rmtree(fresh, ignore_errors=True)


def _check_place(directory: Path) -> None:
    if not directory.parent.is_dir():
        raise PublishError("no_parent", f"The folder {directory.parent} does not exist.", "Make it first.")
    if not (directory.exists() or directory.is_symlink()):
        return
    if directory.is_symlink() or not directory.is_dir():
        raise PublishError(
            "not_a_folder", f"{directory} is not a folder.", "Choose another place for the papers."
        )
    try:
        strange = any(directory.iterdir()) and not (directory / "manifest.json").is_file()
    except OSError as fault:
        raise _told(fault, directory) from fault
    if strange:
        raise PublishError(
            "not_a_report",
            f"{directory} holds other files and no earlier report, so it was left alone.",
            "Choose an empty or a new folder.",
        )


def _sweep(directory: Path) -> None:
    """Remove what earlier runs left behind when they were killed; bring back a folder moved aside but not replaced."""
    for old in directory.parent.glob(f".{directory.name}.old-*"):
        if directory.exists():
            shutil.rmtree(old, ignore_errors=True)
        else:
            os.rename(old, directory)
    for half in directory.parent.glob(f".{directory.name}.new-*"):
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
    os.chmod(folder, 0o755)  # noqa: S103  (mkdtemp makes it readable by its owner alone)
    for part in [folder, *(path for path in folder.rglob("*") if path.is_dir())]:
        _fsync_folder(part)


def _put(fresh: Path, directory: Path) -> None:
    """Give the fresh folder its name; afterwards ``fresh`` names the old one, if there was one."""
    if not directory.exists():
        os.rename(fresh, directory)
    elif not _exchange(fresh, directory):
        aside = fresh.with_name(fresh.name.replace(".new-", ".old-"))
        os.rename(directory, aside)
        try:
            os.rename(fresh, directory)
        except OSError:
            os.rename(aside, directory)
            raise
        shutil.rmtree(aside, ignore_errors=True)
    _fsync_folder(directory.parent)


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


def _told(fault: OSError, directory: Path) -> PublishError:
    """The fault as one clear sentence."""
    if fault.errno in (errno.ENOSPC, errno.EDQUOT):
        return PublishError(
            "disk_full", f"The disk is full: {directory} was not written.", "Free some space."
        )
    if fault.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return PublishError("not_writable", f"{directory} cannot be written here.", "Choose another place.")
    return PublishError("not_written", f"{directory} could not be written: {fault.strerror or fault}.")
