"""Which day and time in UTC was it, by the clock of a place?"""

from __future__ import annotations

import datetime
import re
from collections.abc import Sequence
from zoneinfo import ZoneInfo

from survstats.records.codebook import NOT_COLLECTED, UNKNOWN
from survstats.records.mapping.cells import Unread, day_of
from survstats.records.mapping.plan import LocalTimePlan

_CLOCK = re.compile(
    r"(?P<hour>\d{1,2}):(?P<minute>\d{2})(:(?P<second>\d{2}))?|(?P<h>\d{2})(?P<m>\d{2})", re.ASCII
)
_NO_TIME = (NOT_COLLECTED, UNKNOWN)


def is_zone(name: str) -> bool:
    """Whether the IANA list has a time zone of that name."""
    try:
        ZoneInfo(name)
    except (ValueError, OSError, KeyError):  # no name of a zone, a folder of zones, or none in the list
        return False
    return True


def utc_of(
    date: str, time: str, zone: str, plan: LocalTimePlan
) -> tuple[str, str, tuple[str, Unread] | None]:
    """Day and time in UTC, as our files write them; without a time the local day stands, with an empty time.

    Where they cannot be told, what can be, then the column that is to blame and why.
    """
    day = day_of(date, plan.dates) if date else NOT_COLLECTED
    if isinstance(day, Unread):
        return NOT_COLLECTED, NOT_COLLECTED, (plan.date_column, day)
    if time in _NO_TIME or not day:
        return day, time, None
    clock = _clock(time)
    if clock is None:
        wrong = Unread("M4", "a time written HH:MM", "correct it, or leave it empty")
        return day, NOT_COLLECTED, (plan.time_column, wrong)
    if not is_zone(zone):
        wrong = Unread("M4", "a time zone of the IANA list", "write for example Europe/Oslo")
        return day, NOT_COLLECTED, (plan.zone_column or "", wrong)
    moments = _moments(datetime.datetime.combine(datetime.date.fromisoformat(day), clock), ZoneInfo(zone))
    if len(moments) != 1:
        why = "the clocks showed it twice that day" if moments else "the clocks skipped it that day"
        wrong = Unread(
            "M4",
            f"a time that {zone} had once ({why})",
            "find out the time in UTC, and give it with zone UTC",
        )
        return day, NOT_COLLECTED, (plan.time_column, wrong)
    return moments[0].date().isoformat(), moments[0].strftime("%H:%M:%S").removesuffix(":00"), None


def _clock(text: str) -> datetime.time | None:
    found = _CLOCK.fullmatch(text)
    if found is None:
        return None
    try:
        return datetime.time(
            int(found["hour"] or found["h"]), int(found["minute"] or found["m"]), int(found["second"] or 0)
        )
    except ValueError:
        return None


def _moments(local: datetime.datetime, zone: ZoneInfo) -> Sequence[datetime.datetime]:
    """The moments in UTC at which the clocks of a zone showed this: one, none or two."""
    found = []
    for fold in (0, 1):
        moment = local.replace(tzinfo=zone, fold=fold).astimezone(datetime.UTC)
        if moment.astimezone(zone).replace(tzinfo=None) == local and moment not in found:
            found.append(moment)
    return found
