"""What share of a group was out by each second, and how far do two groups differ, as far as bands of time can say?"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survstats.effects.exact_table import clopper_pearson
from survstats.effects.getting_out import WayOut
from survstats.effects.intervals import jackknife_error, t_quantile
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate, Unit, from_scale, to_scale
from survstats.groundwork.resampling import leave_one_out
from survstats.models.times.turnbull import (
    IntervalCurve,
    area_bounds,
    curve_bounds,
    interval_curve,
    interval_refits,
)

Floats = NDArray[np.float64]
Form = Literal["point", "range"]
End = Literal["least", "most"]

#: With fewer mishaps in a group leaving each out says next to nothing of it (common practice, no source).
FEWEST_MISHAPS = 5
#: Two ends of a range nearer than this are one number.
_SAME = 1e-9
_ENDS: tuple[End, End] = ("least", "most")


@dataclass(frozen=True)
class GroupCurve:
    """How soon one group got out: its curve from all mishaps, and with each of all g mishaps left out.

    Attributes
    ----------
    known : WayOut
        Its n people.
    curve : IntervalCurve
        Mass on boxes of time, and at infinity for who never got out.
    masses : ndarray of shape (g, j)
        The masses on the same boxes with mishap i left out.
    holds : ndarray of bool, shape (g,)
        Whether mishap i holds anybody of the group.
    """

    known: WayOut
    curve: IntervalCurve
    masses: Floats
    holds: NDArray[np.bool_]

    @property
    def box_ends(self) -> Floats:
        """The finite ends of its boxes, in order, in seconds."""
        ends = np.unique(np.concatenate([self.curve.left, self.curve.right]))
        return np.asarray(ends[np.isfinite(ends)])


@dataclass(frozen=True)
class CurveLimits:
    """The curve of a group at t times, with mishap-jackknife limits.

    Attributes
    ----------
    times : ndarray of shape (t,)
        Seconds.
    least, most : ndarray of shape (t,)
        The least and the most share out by then that the bands allow.
    low, high : ndarray of shape (t,)
        Lower limit of the least, upper limit of the most.
    """

    times: Floats
    least: Floats
    most: Floats
    low: Floats
    high: Floats


@dataclass(frozen=True)
class Between:
    """How far two groups differ, as far as the bands say.

    Attributes
    ----------
    least, most : Estimate
        The least and the most that the bands allow, each with its limits; the same where the bands decide.
    form : {"point", "range"}
    """

    least: Estimate
    most: Estimate
    form: Form


def group_curve(known: WayOut, codes: NDArray[np.int64], *, mishaps: int) -> GroupCurve:
    """The curve of one group of n people, whatever the other holds.

    Parameters
    ----------
    known : WayOut
    codes : ndarray of shape (n,)
        Mishap of each person, from 0 to ``mishaps`` - 1; not every mishap need hold any of them.
    mishaps : int
        All mishaps of the comparison (g).

    Raises
    ------
    NotEstimable
        ``few_mishaps``; ``none_known`` where of nobody it is known whether they got out.

    Notes
    -----
    Nonparametric maximum likelihood with a point at infinity: Turnbull 1976
    (doi:10.1111/j.2517-6161.1976.tb01597.x). With exact times and everybody's end known it is the share counted out.
    """
    holds = np.bincount(codes, minlength=mishaps) > 0
    if holds.sum() < FEWEST_MISHAPS:
        raise NotEstimable("few_mishaps", f"The group comes from {int(holds.sum())} mishaps.")
    if np.isnan(known.ever).all():
        raise NotEstimable("none_known", "Of nobody in the group it is known whether they got out.")
    curve = interval_curve(known.low, known.high, known.ever)
    refits = interval_refits(known.low, known.high, known.ever, codes, leave_one_out(mishaps))
    return GroupCurve(known, curve, refits.mass, holds)


def curve_limits(group: GroupCurve, at: ArrayLike, *, level: float = 0.95) -> CurveLimits:
    """The share of a group out by each of t times, with mishap-jackknife limits on the logit.

    The standard error is that of the share, carried to the logit at the share itself (delta method). Where nobody is
    out yet, or everybody is, leaving mishaps out shows no spread, and the exact limits of the group's people as if they
    were independent stand in (Clopper and Pearson 1934, doi:10.1093/biomet/26.4.404). At second 0 nobody can be out.
    """
    times = np.asarray(at, dtype=float)
    least, most = curve_bounds(group.curve, times)
    people, df = int((~np.isnan(group.known.ever)).sum()), int(group.holds.sum()) - 1
    ends = []
    for values, which in zip((least, most), _ENDS, strict=True):
        placed = _placed_shares(group, times, which)
        errors = [jackknife_error(float(placed[0, t]), placed[1:, t]) for t in range(len(times))]
        ends.append(
            [
                _share_limits(float(value), error, people, df, level) if time > 0 else (0.0, 0.0)
                for time, value, error in zip(times, values, errors, strict=True)
            ]
        )
    return CurveLimits(
        times, least, most, np.array([low for low, _ in ends[0]]), np.array([high for _, high in ends[1]])
    )


def difference_by(trained: GroupCurve, untrained: GroupCurve, at: float, *, level: float = 0.95) -> Between:
    """Share out by ``at`` seconds, the trained minus the untrained, unadjusted."""
    bounds = [[float(end[0]) for end in curve_bounds(group.curve, [at])] for group in (trained, untrained)]

    def placed(group: GroupCurve, which: End) -> Floats:
        return _placed_shares(group, np.array([at]), which, of_all=True)[:, 0]

    return _between((trained, untrained), bounds, placed, unit="difference", furthest=1.0, level=level)


def seconds_within(
    trained: GroupCurve, untrained: GroupCurve, *, until: float, level: float = 0.95
) -> Between:
    """Mean seconds outside within the first ``until`` seconds, the trained minus the untrained, unadjusted.

    It is the area under the curve of getting out, also called the restricted mean time lost to it; whoever never got
    out counts with none.
    """
    bounds = [[float(end) for end in area_bounds(group.curve, until=until)] for group in (trained, untrained)]

    def placed(group: GroupCurve, which: End) -> Floats:
        masses = _all_masses(group, of_all=True)
        place = group.curve.right if which == "least" else group.curve.left
        return np.asarray(masses @ np.maximum(until - place, 0.0))

    return _between((trained, untrained), bounds, placed, unit="seconds", furthest=until, level=level)


def _between(
    groups: tuple[GroupCurve, GroupCurve],
    bounds: list[list[float]],
    placed: Callable[[GroupCurve, End], Floats],
    *,
    unit: Unit,
    furthest: float,
    level: float,
) -> Between:
    """Both ends of a difference; where masses are not unique the error is that of one set of them."""
    trained, untrained = groups
    mishaps = int((trained.holds | untrained.holds).sum())
    ends = []
    for one, other in ((0, 1), (1, 0)):  # the least of the one against the most of the other, and the reverse
        value = bounds[0][one] - bounds[1][other]
        found = placed(trained, _ENDS[one]) - placed(untrained, _ENDS[other])
        error = jackknife_error(float(found[0]), found[1:])
        reach = t_quantile(level, mishaps - 1) * error
        ends.append(
            Estimate(
                value=value,
                low=max(value - reach, -furthest),
                high=min(value + reach, furthest),
                se=error,
                level=level,
                df=float(mishaps - 1),
                scale="identity",
                unit=unit,
                method="turnbull",
                mishaps=mishaps,
                occupants=len(trained.known) + len(untrained.known),
            )
        )
    apart = max(bounds[arm][1] - bounds[arm][0] for arm in (0, 1))
    return Between(ends[0], ends[1], "point" if apart < _SAME else "range")


def _all_masses(group: GroupCurve, *, of_all: bool) -> Floats:
    """Masses from all mishaps, then with each left out that holds any of the group (or each of all)."""
    return np.vstack([group.curve.mass, group.masses if of_all else group.masses[group.holds]])


def _placed_shares(group: GroupCurve, times: Floats, which: End, *, of_all: bool = False) -> Floats:
    """Shares out (1 + g, t) with the mass of a box at its right end (least) or its left (most)."""
    curve = group.curve
    if which == "least":
        there = curve.right[:, None] <= times
    else:
        there = (curve.left[:, None] < times) | (curve.right[:, None] <= times)
    return np.asarray(_all_masses(group, of_all=of_all) @ there)


def _share_limits(value: float, error: float, people: int, df: int, level: float) -> tuple[float, float]:
    if value <= _SAME or value >= 1 - _SAME:
        return clopper_pearson(people if value > _SAME else 0, people, level=level)
    reach = t_quantile(level, df) * error / (value * (1 - value))
    centre = to_scale(value, "logit")
    if not math.isfinite(reach):
        return 0.0, 1.0
    return from_scale(centre - reach, "logit"), from_scale(centre + reach, "logit")
