"""How often should a course be repeated: what each interval is worth, and the one that is worth most?

With fading lam, leaving tau and interval r (years) a refresher programme is worth, for one person a year,

    NB(r) = b retained(r) - c tau e^{-tau r} / (1 - e^{-tau r}),

b what a year of the full effect is worth and c what one refresher costs. Its slope has the sign of c/b - g(r) with

    g(r) = (1 - e^{-(tau + lam) r}) / (tau + lam) - e^{-lam r} (1 - e^{-tau r}) / tau,

which climbs from 0 to 1 / (tau + lam): one best interval, or none where c (tau + lam) >= b. Without leavers that is
1 - (1 + x) e^{-x} = c lam / b with x = lam r (own derivation; the limit is tested).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import elementwise

from survstats.decision.held import mean_discount
from survstats.groundwork.errors import CallError

Floats = NDArray[np.float64]

#: No interval pays: a first course, and no refresher.
NEVER = np.inf
#: Intervals worth at least this share less than the best are as good as it (our choice, no source).
FLAT_SHARE = 0.05


def best_interval(
    benefit: ArrayLike,
    cost: ArrayLike,
    fading: ArrayLike,
    *,
    leaving: ArrayLike = 0.0,
    longest: float = NEVER,
) -> Floats:
    """Years between courses that are worth most; `NEVER` where no refresher pays.

    Parameters
    ----------
    benefit : array_like
        What a year of the full effect of one person is worth, in money (or in whatever unit ``cost`` has).
    cost : array_like
        Cost of one refresher, > 0.
    fading, leaving : array_like
        Rates a year, >= 0.
    longest : float
        Years that law or contract allows between courses: never is more proposed.

    Raises
    ------
    CallError
        ``not_a_cost`` for a cost that is not above 0, ``not_a_rate`` for a rate below 0, ``not_an_interval`` for a
        longest interval that is not above 0.

    Notes
    -----
    For one world and one group. The budget paper takes the best of the intervals that it looks at, over all worlds and
    groups (`survstats.decision.interval_choice`); where there is one of each, both agree within a step of its grid.
    """
    gained, paid, fades, leaves = np.broadcast_arrays(
        *(np.asarray(part, dtype=float) for part in (benefit, cost, fading, leaving))
    )
    _check(paid, fades, leaves, longest)
    pays = (fades > 0) & (gained > paid * (fades + leaves))
    years = np.full(gained.shape, NEVER)
    if pays.any():
        years[pays] = _turning_point(paid[pays] / gained[pays], fades[pays], leaves[pays])
    return np.asarray(np.minimum(years, longest))


def _check(cost: Floats, fading: Floats, leaving: Floats, longest: float) -> None:
    if not np.all(cost > 0):
        raise CallError("not_a_cost", "A refresher must cost something.", "Give a cost above 0.")
    if np.any(fading < 0) or np.any(leaving < 0):
        raise CallError("not_a_rate", "Rates of fading and leaving cannot be below 0.")
    if not longest > 0:
        raise CallError("not_an_interval", "The longest interval must be above 0 years.")


def _turning_point(share: Floats, fading: Floats, leaving: Floats) -> Floats:
    """Where g(r) = c / b (k,); each of the k has one."""
    top = 1.0 / (fading + leaving)
    while np.any(short := _slope(top, fading, leaving) < share):
        top = np.where(short, 2.0 * top, top)
    found = elementwise.find_root(
        _excess,
        (np.zeros_like(top), top),
        args=(share, fading, leaving),
        tolerances={"xrtol": 1e-12, "xatol": 0.0},
    )
    return np.asarray(found.x, dtype=float)


def _excess(years: Floats, /, *given: Floats) -> Floats:
    share, fading, leaving = given
    return _slope(years, fading, leaving) - share


def _slope(years: Floats, fading: Floats, leaving: Floats) -> Floats:
    """g(r): what one more year between courses loses, in years of the full effect."""
    held, staying = mean_discount((fading + leaving) * years), mean_discount(leaving * years)
    return np.asarray(years * (held - np.exp(-fading * years) * staying))
