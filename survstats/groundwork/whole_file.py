"""How does one file appear whole or not at all, and where may it not be written?

The bytes go to a hidden sibling first, which then takes the name in one step. The sentences for a full disk and for a
place that cannot be written stand here, for files and for folders alike.
"""

from __future__ import annotations

import errno
import os
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from survstats.groundwork.errors import PublishError

_FULL = (errno.ENOSPC, errno.EDQUOT)
_CLOSED = (errno.EACCES, errno.EPERM, errno.EROFS)


def write_whole(path: Path, data: bytes, *, replace: bool = False) -> None:
    """Write a file, whole or not at all; a link to a file is followed.

    Parameters
    ----------
    path : Path
        Its folder must exist.
    data : bytes
    replace : bool
        Whether a file that stands there already is replaced; never anything else than an ordinary file.

    Raises
    ------
    PublishError
        As `check_place`; ``disk_full``, ``not_writable``, ``not_written``. What stood there is then as it was.
    """
    check_place(path, replace=replace)
    target = Path(os.path.realpath(path))
    fresh = target.with_name(f".new-{secrets.token_hex(8)}{target.suffix}")
    with told(path):
        try:
            with fresh.open("xb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            if replace and target.exists():
                shutil.copymode(target, fresh)
            _take(fresh, target, replace=replace)
        except FileExistsError:
            raise _exists(path) from None
        finally:
            fresh.unlink(missing_ok=True)


def check_place(path: Path, *, replace: bool = False) -> None:
    """Refuse a place where a file cannot or must not be written, before any work is done for it.

    Raises
    ------
    PublishError
        ``no_parent``, ``not_a_file`` where a folder, a pipe, a device or a link to nothing stands, ``file_exists``
        where a file stands that must stay, ``not_writable``, ``not_written``.
    """
    with told(path):
        if not path.parent.is_dir():
            raise PublishError("no_parent", f"The folder '{path.parent}' does not exist.", "Make it first.")
        if os.path.lexists(path):
            if not path.is_file():
                raise PublishError(
                    "not_a_file",
                    f"'{path}' is no ordinary file and was left alone.",
                    "Name a new file.",
                )
            if not replace:
                raise _exists(path)
            if not os.access(path, os.W_OK):
                raise cannot_write(path, PermissionError(errno.EACCES, ""))


@contextmanager
def told(path: Path) -> Iterator[None]:
    """Whatever the system refuses while a file or folder is made, as one sentence about it.

    Raises
    ------
    PublishError
        ``disk_full``, ``not_writable``, ``not_written``.
    """
    try:
        yield
    except OSError as fault:
        raise cannot_write(path, fault) from fault


def cannot_write(path: Path, fault: OSError) -> PublishError:
    """Why a file or folder could not be written, in one sentence."""
    if fault.errno in _FULL:
        return PublishError("disk_full", f"The disk is full: '{path}' was not written.", "Free some space.")
    if fault.errno in _CLOSED:
        return PublishError("not_writable", f"'{path}' cannot be written here.", "Choose another place.")
    why = fault.strerror or str(fault)
    return PublishError(
        "not_written", f"'{path}' could not be written ({why}).", "Choose another name or place."
    )


def _exists(path: Path) -> PublishError:
    return PublishError("file_exists", f"'{path}' is there already and was left alone.", "Name a new file.")


def _take(fresh: Path, target: Path, *, replace: bool) -> None:
    """Give the fresh file its name; without ``replace`` only where nothing has that name by then."""
    if replace:
        os.replace(fresh, target)
        return
    try:
        os.link(fresh, target)
    except FileExistsError:
        raise
    except OSError:  # a file system without links
        if os.path.lexists(target):
            raise FileExistsError(errno.EEXIST, "") from None
        os.rename(fresh, target)
