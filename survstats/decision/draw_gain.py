"""Which effects are plausible together, in all groups at once, and how large were they before they faded?"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, logit

from survstats.decision.conventions import MONTHS_A_YEAR
from survstats.decision.group_gain import GroupGain
from survstats.decision.room import faded, gain_of_first_day
from survstats.groundwork.errors import NotEstimable

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class DrawnGain:
    """Plausible effects: b worlds, q groups, two kinds.

    Attributes
    ----------
    survival_untrained : ndarray of shape (b, q, 2)
    observed : ndarray of shape (b, q, 2)
        Difference as recorded, faded as far as it had.
    gain : ndarray of shape (b, q, 2)
        Difference on the day of the course, uncut: it may be more than there is room for, and fades into it
        (`survstats.decision.room`).
    held : ndarray of shape (b,)
        Share of that which the trained people of the records still held, on average.
    """

    survival_untrained: Floats
    observed: Floats
    gain: Floats
    held: Floats


def mean_held(months_since: Floats, half_life_months: Floats) -> Floats:
    """Share of the effect that people so many months after their course still hold, on average.

    Parameters
    ----------
    months_since : ndarray of shape (n,)
        Of the trained people whom the difference was read from.
    half_life_months : ndarray of shape (b,)

    Returns
    -------
    ndarray of shape (b,)
        In (0, 1].

    Raises
    ------
    NotEstimable
        ``no_rows`` where nobody's months are known.
    """
    months, times = np.unique(months_since[np.isfinite(months_since)], return_counts=True)
    if not len(months):
        raise NotEstimable("no_rows", "Of nobody trained is it known how long ago that was.")
    lives, places = np.unique(half_life_months, return_inverse=True)
    held = np.exp2(-months[None, :] / lives[:, None]) @ (times / times.sum())
    return np.asarray(held[places])


def draw_gain(
    gain: GroupGain, half_life_months: Floats, months_since: Floats, generator: np.random.Generator
) -> DrawnGain:
    """Plausible effects of all groups and kinds together, freed of the fading they were recorded with.

    Parameters
    ----------
    gain : GroupGain
    half_life_months : ndarray of shape (b,)
        The same draws that the fading of the policies is worked out with: what is taken out here is put back there.
    months_since : ndarray of shape (n,)
        As `mean_held`.
    generator : Generator

    Notes
    -----
    Each mishap's step (what leaving it out changes, times sqrt((g - 1) / g)) is multiplied by a normal draw of its
    own, the same for all groups, and the sum by a common draw that turns the normal into t with g - 1 degrees of
    freedom. A difference then has exactly the limits that `standardise` prints, and groups that rest on the same
    mishaps go together; survival without training has its limits on the logit. Where one limit lies farther out than
    the jackknife's and the other does not, the draws lean that way. The idea is that of a multiplier bootstrap (van
    der Vaart and Wellner 1996, section 2.9, doi:10.1007/978-1-4757-2545-2; from memory).
    """
    draws, mishaps = len(half_life_months), gain.mishaps
    steps = generator.standard_normal((draws, mishaps)) * np.sqrt((mishaps - 1) / mishaps)
    steps /= np.sqrt(generator.chisquare(mishaps - 1, size=draws) / (mishaps - 1))[:, None]
    survival = _expit_draws(steps, gain.risks[..., 1], gain.wider_survival)
    difference = gain.risks[..., 0] - gain.risks[..., 1]
    observed = difference[0] + _moved(steps, difference, gain.wider_difference)
    held = mean_held(months_since, half_life_months)
    known = months_since[np.isfinite(months_since)]
    still = faded(math.log(2) * MONTHS_A_YEAR / half_life_months, known)
    return DrawnGain(survival, observed, gain_of_first_day(observed, survival, still), held)


def _moved(steps: Floats, values: Floats, wider: Floats) -> Floats:
    """Draws (b, q, 2) around 0 of numbers of shape (1 + g, q, 2)."""
    each = values[1:] - values[0]
    moved = (steps @ each.reshape(len(each), -1)).reshape(len(steps), *values.shape[1:])
    return np.asarray(moved * np.where(moved < 0, wider[..., 0], wider[..., 1]))


def _expit_draws(steps: Floats, shares: Floats, wider: Floats) -> Floats:
    """Draws of shares on the logit scale; where a share is 0 or 1 in any fit, plainly and cut to [0, 1]."""
    inner = np.all((shares > 0) & (shares < 1), axis=0)
    safe = np.where(inner, shares, 0.5)
    on_logit = expit(logit(safe[0]) + _moved(steps, logit(safe), wider))
    plain = np.clip(shares[0] + _moved(steps, shares, wider), 0.0, 1.0)
    return np.asarray(np.where(inner, on_logit, plain))
