"""Which bytes stand in this file, if it is one that can be read whole?"""

from __future__ import annotations

import os
import stat
from pathlib import Path

from survstats.groundwork.errors import RecordsError, SurvstatsError

LARGEST_BYTES = 2 * 1024**3
_REMEDIES = {
    "missing_file": "Check its name.",
    "not_readable": "Make it readable for you.",
    "not_a_file": "Put an ordinary file in its place.",
    "too_large": "Save the records as Parquet, or fewer of them in one file.",
}


def read_file(path: Path, *, remedy: str = "", kind: type[SurvstatsError] = RecordsError) -> bytes:
    """The bytes of an ordinary file; nothing else is opened, since a pipe or a device may never end.

    Parameters
    ----------
    path : Path
    remedy : str, optional
        What to do where there is no such file; ``Check its name.`` if not given.
    kind : type, optional
        Which exception of the tree is raised.

    Raises
    ------
    SurvstatsError
        ``missing_file``, ``not_readable``, ``not_a_file`` (a folder, a pipe, a device), ``too_large`` (above 2 GB, or
        more than the memory holds).
    """

    def refused(reason: str, what: str) -> SurvstatsError:
        told = remedy if remedy and reason == "missing_file" else _REMEDIES[reason]
        return kind(reason, what, told)

    try:
        entry = path.stat()
        if not stat.S_ISREG(entry.st_mode):
            what = "is a folder" if stat.S_ISDIR(entry.st_mode) else "is a pipe or a device"
            raise refused("not_a_file", f"{path.name} {what}, not a file.")
        if entry.st_size > LARGEST_BYTES:
            raise refused("too_large", f"{path.name} is larger than 2 GB.")
        return path.read_bytes()
    except (FileNotFoundError, NotADirectoryError) as error:
        if os.path.islink(path):
            raise refused("missing_file", f"{path.name} is a link to a file that is not there.") from error
        raise refused("missing_file", f"There is no file {path.name}.") from error
    except (OSError, ValueError) as error:  # ValueError: a name with a character that no name can have
        why = error.strerror if isinstance(error, OSError) and error.strerror else "no such name"
        raise refused("not_readable", f"{path.name} cannot be read ({why}).") from error
    except MemoryError as error:
        raise refused("too_large", f"{path.name} is larger than the memory holds.") from error
