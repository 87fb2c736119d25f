"""Who is known to have got out, and between which seconds: what the records give of each person, and counts of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

#: The column of a derived occupant that says who got out.
OUT = "out"
#: Nobody from outside opens a cabin within so many seconds, the last asked about (common practice, no source).
RESCUE_FROM_S = 60.0


@dataclass(frozen=True)
class WayOut:
    """What is known of the way out of n people, in seconds from first contact of the fuselage with water.

    Attributes
    ----------
    ever : ndarray of shape (n,)
        1 got out, or was brought out alive; 0 never did; NaN where nobody knows.
    low, high : ndarray of shape (n,)
        Who got out did so in (low, high], at ``low`` where both are the same; from 0 to infinity where no time is
        known. Who never did, or of whom it is not known, has been seen inside until ``low``.
    """

    ever: Floats
    low: Floats
    high: Floats

    def __len__(self) -> int:
        return len(self.ever)

    @property
    def timed(self) -> Bools:
        """Who got out at a time of which anything is known (n,)."""
        return np.asarray((self.ever == 1) & ((self.low > 0) | np.isfinite(self.high)))

    @property
    def points(self) -> Bools:
        """Who got out at one second that is known (n,)."""
        return np.asarray(self.timed & (self.low == self.high))

    def of(self, rows: Bools) -> WayOut:
        """The same of some of these people."""
        return WayOut(self.ever[rows], self.low[rows], self.high[rows])

    def known_out(self, at: float) -> Bools:
        """Who is known to be out by ``at`` seconds (n,)."""
        return np.asarray((self.ever == 1) & (self.high <= at))

    def known_inside(self, at: float) -> Bools:
        """Who is known to be still inside at ``at`` seconds, dead or alive (n,)."""
        return np.asarray((self.ever == 0) | ((self.low >= at) & ~self.known_out(at)))


def rescued_untimed(frame: pd.DataFrame) -> Bools:
    """Who was brought out alive from inside at a time that is not recorded (n,)."""
    if "rescued_inside" not in frame:
        return np.zeros(len(frame), dtype=bool)
    untimed = frame["egress_lo_s"].isna() & frame["egress_hi_s"].isna()
    return np.asarray(
        (frame[OUT] == 1) & frame["rescued_inside"].eq("yes").fillna(False) & untimed, dtype=bool
    )


def by_themselves(frame: pd.DataFrame) -> pd.DataFrame:
    """The same people (n rows) with `rescued_untimed` as never out: for what tells how soon people got out.

    How long a rescue took is no time that anybody needed for a way out, and one such wait outweighs all the spreads of
    seconds. Nor may who got out at a time nobody knows be thought to have waited like them. By any second before the
    first rescue the share out is the same.
    """
    return frame.assign(**{OUT: frame[OUT].mask(rescued_untimed(frame), 0.0)})


def way_out(frame: pd.DataFrame) -> WayOut:
    """What the records say of each person's way out.

    Parameters
    ----------
    frame : DataFrame of n rows
        With ``out`` as derived, and ``egress_lo_s`` and ``egress_hi_s`` in seconds, where they are known. A time with
        one end has 0, or no end, for the other. ``rescued_inside`` and ``t_rescue_min`` if they are there.

    Notes
    -----
    Whoever died inside never got out: that is an end of its own, at a time nobody knows, and no reason to take them out
    of the count. A band stays a band. Nothing is put in place of a time that is missing, but for who was brought out
    alive from inside (`rescued_untimed`): they had not got out by themselves, so they were inside until
    `RESCUE_FROM_S`, or until they were picked up where that is known and later.
    """
    ever = frame[OUT].to_numpy(dtype=float)
    low = frame["egress_lo_s"].to_numpy(dtype=float)
    high = frame["egress_hi_s"].to_numpy(dtype=float)
    got_out, waited = ever == 1, rescued_untimed(frame)
    if waited.any():
        picked_up = 60 * frame["t_rescue_min"].to_numpy(dtype=float, na_value=np.nan)
        low = np.where(waited, np.fmax(picked_up, RESCUE_FROM_S), low)
    return WayOut(
        ever=ever,
        low=np.where((ever != 0) & np.isfinite(low), low, 0.0),
        high=np.where(got_out & ~np.isnan(high), high, np.inf),
    )
