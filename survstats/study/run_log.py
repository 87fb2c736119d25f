"""How many agreed plans have been tried on these records, and for whom?

The log is a CSV file in the study folder: one line for each plan on each state of the records and each kind of
reader. It is written before anything is counted by outcome, and it never stops a study.
"""

from __future__ import annotations

import csv
import datetime
import io
import os
import re
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import survstats
from survstats.records.demo import DEMO_NAMES

LOG_FILE = "run_log.csv"
COLUMNS = ("time", "plan", "records", "survstats", "audience")
_LARGEST = 10_000_000
_HASH = re.compile(r"[0-9a-f]{64}")
_BOARD = "board"
_SHARING = "sharing-"
_AUDIENCE = re.compile(rf"{_BOARD}|{_SHARING}\d+")

LogState = Literal["kept", "not_kept", "damaged"]
Line = tuple[str, str, str, str, str]


@dataclass(frozen=True)
class LogEntry:
    """What the log says of one run.

    Attributes
    ----------
    state : {"kept", "not_kept", "damaged"}
        ``not_kept``: the folder belongs to survstats or cannot be written; ``damaged``: the file there is no log.
    plan_number : int or None
        The place of this plan among the plans tried on these records, by their first lines; None unless kept, as
        all that follow.
    plans_here, plans : int or None
        Different plans on these records, and in the whole log.
    states : int or None
        How many states of the records stand in the log.
    shared : int or None
        Papers for sharing made from these records: each plan and each smallest count counts.
    """

    state: LogState
    plan_number: int | None = None
    plans_here: int | None = None
    plans: int | None = None
    states: int | None = None
    shared: int | None = None


def log_run(folder: Path, *, plan: str, records: str, smallest_cell: int | None = None) -> LogEntry:
    """Write a run's line into the log of its study folder, unless it stands there, and count.

    Parameters
    ----------
    folder : Path
        The study folder.
    plan, records : str
        Hash of what the numbers depend on, and fingerprint of the records; 64 hexadecimal digits each.
    smallest_cell : int, optional
        For papers for sharing: the smallest count they show.
    """
    audience = _BOARD if smallest_cell is None else f"{_SHARING}{smallest_cell}"
    if _belongs_to_survstats(folder):
        return LogEntry("not_kept")
    path = folder / LOG_FILE
    try:
        if os.path.lexists(path) and not stat.S_ISREG(os.lstat(path).st_mode):
            return LogEntry("damaged")
        with _locked(path) as descriptor:
            lines = _lines(descriptor)
            if lines is None:
                return LogEntry("damaged")
            if (plan, records, audience) not in {(*line[1:3], line[4]) for line in lines}:
                now = datetime.datetime.now(datetime.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
                new = (now, plan, records, survstats.__version__, audience)
                _append(descriptor, [new] if lines else [COLUMNS, new])
                lines.append(new)
    except OSError:
        return LogEntry("not_kept")
    return _counted(lines, plan, records)


def _counted(lines: list[Line], plan: str, records: str) -> LogEntry:
    here = [line for line in lines if line[2] == records]
    plans_here = list(dict.fromkeys(line[1] for line in here))
    return LogEntry(
        "kept",
        plan_number=plans_here.index(plan) + 1,
        plans_here=len(plans_here),
        plans=len({line[1] for line in lines}),
        states=len({line[2] for line in lines}),
        shared=sum(line[4].startswith(_SHARING) for line in here),
    )


def _belongs_to_survstats(folder: Path) -> bool:
    """Whether the folder is one of the invented studies where they are shipped, which nobody writes into."""
    package = Path(survstats.__file__).resolve().parent
    shipped = {place / name for place in (package / "_demo", package.parent / "data") for name in _SHIPPED}
    whole = folder.resolve()
    return not shipped.isdisjoint((whole, *whole.parents))


_SHIPPED = (*DEMO_NAMES, "demo_dirty")


@contextmanager
def _locked(path: Path) -> Iterator[int]:
    """The log opened for reading and appending, kept from every other run until it is closed."""
    descriptor = os.open(path, os.O_RDWR | os.O_APPEND | os.O_CREAT, 0o666)
    try:
        try:
            import fcntl

            fcntl.flock(descriptor, fcntl.LOCK_EX)
        except ImportError:  # no such lock on Windows: a line is appended in one piece all the same
            pass
        yield descriptor
    finally:
        os.close(descriptor)


def _lines(descriptor: int) -> list[Line] | None:
    """The lines of the log, none where it is new; None where this is no log, or one with a torn line."""
    if os.fstat(descriptor).st_size > _LARGEST:
        return None
    os.lseek(descriptor, 0, os.SEEK_SET)
    data = b"".join(iter(lambda: os.read(descriptor, 65536), b""))
    if not data:
        return []
    try:
        rows = [tuple(row) for row in csv.reader(io.StringIO(data.decode("utf-8")), strict=True)]
    except (UnicodeDecodeError, csv.Error):
        return None
    lines = [(row[0], row[1], row[2], row[3], row[4]) for row in rows[1:] if len(row) == len(COLUMNS)]
    whole = data.endswith(b"\n") and rows[0] == COLUMNS and len(lines) == len(rows) - 1
    sound = all(
        _HASH.fullmatch(plan) and _HASH.fullmatch(records) and _AUDIENCE.fullmatch(audience)
        for _, plan, records, _, audience in lines
    )
    return lines if whole and sound else None


def _append(descriptor: int, rows: list[tuple[str, ...]]) -> None:
    """Append lines in one piece, or none of them."""
    text = "".join(f"{','.join(row)}\n" for row in rows).encode()
    before = os.fstat(descriptor).st_size
    if os.write(descriptor, text) < len(text):
        os.ftruncate(descriptor, before)
        raise OSError("the log could not be written whole")
