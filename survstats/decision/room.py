"""How much of a gain finds room: nobody lives who lives already, however great the gain was on the day of the course.

A gain that is greater than the room there is (those who would die untrained) is held whole until it has faded into
that room; only then does less remain. So it is cut person by person, by months since the course, and averaged after
that. The difference that the records show is an average of this kind, too: the gain of the first day is the one that
gives it back.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survstats.decision.conventions import MONTHS_A_YEAR
from survstats.decision.held import mean_discount, retained

Floats = NDArray[np.float64]


def difference_held(
    gain: ArrayLike,
    survival_untrained: ArrayLike,
    *,
    interval: ArrayLike,
    fading: ArrayLike,
    leaving: ArrayLike = 0.0,
) -> Floats:
    """What training adds to survival, on average over the people of a staff settled into its rhythm.

    Parameters
    ----------
    gain : array_like
        Risk difference on the day of the course, uncut. All five broadcast.
    survival_untrained : array_like
        In [0, 1].
    interval : array_like
        Years between courses (r), above 0; infinity: no refresher.
    fading, leaving : array_like
        Rates a year, as in `held.retained`.

    Returns
    -------
    ndarray
        ``survival_untrained`` and this together lie in [0, 1].

    Notes
    -----
    Of people with m years since the course, whose density is proportional to exp(-leaving m) below r, each has
    min(gain exp(-fading m), room): the room itself until the gain fits, fading from there. Without a cut the mean is
    gain times `held.retained`. Derived here; tests compare it with sums over people.
    """
    whole, untrained, years, fade, leave = (
        np.asarray(one, dtype=float) for one in (gain, survival_untrained, interval, fading, leaving)
    )
    room, size = room_for(whole, untrained), np.abs(whole)
    if not np.any(size > room):
        return np.asarray(whole * retained(years, fade, leave) + np.zeros_like(untrained))
    reach = _years_until_it_fits(size, room, fade)
    lasting = (reach >= years) | (fade == 0)  # as great at the end as on the first day
    whole_years = np.where(lasting, 0.0, reach)
    held = whole_years * mean_discount(leave * whole_years)
    held = held + np.exp(-leave * whole_years) * _years_there(years - whole_years, leave + fade)
    there = np.broadcast_to(_years_there(years, leave), held.shape)
    share = np.divide(held, there, out=np.ones_like(held), where=~np.broadcast_to(lasting, held.shape))
    return np.asarray(np.copysign(np.minimum(size, room) * share, whole))


def survival_holding(
    gain: ArrayLike,
    survival_untrained: ArrayLike,
    false_confidence: ArrayLike = 0.0,
    *,
    interval: ArrayLike,
    fading: ArrayLike,
    leaving: ArrayLike = 0.0,
) -> Floats:
    """Survival of people who hold training, on average; false confidence takes from it no more than there is.

    Parameters
    ----------
    gain, survival_untrained, interval, fading, leaving
        As `difference_held`.
    false_confidence : array_like
        Survival lost by whoever holds training, a share.

    Returns
    -------
    ndarray
        In [0, 1].
    """
    added = difference_held(gain, survival_untrained, interval=interval, fading=fading, leaving=leaving)
    survival = np.clip(added + np.asarray(survival_untrained, dtype=float), 0.0, 1.0)  # rounding only
    if np.any(false_confidence):
        survival = np.maximum(survival - false_confidence, 0.0)
    return np.asarray(survival)


def faded(fading: Floats, months_since: Floats) -> Floats:
    """Share of the first day's gain that each of n people still holds at b rates of fading a year, latest course first.

    Parameters
    ----------
    fading : ndarray of shape (b,)
        0 or more.
    months_since : ndarray of shape (n,)
        In any order.

    Returns
    -------
    ndarray of shape (b, n)
        Falling along each row.
    """
    return np.asarray(np.exp(-fading[:, None] * np.sort(months_since) / MONTHS_A_YEAR))


def difference_recorded(gain: Floats, survival_untrained: Floats, still: Floats) -> Floats:
    """What the records would show of a gain: its mean over their trained people, cut person by person.

    Parameters
    ----------
    gain, survival_untrained : ndarray of shape (b, ...)
    still : ndarray of shape (b, n)
        Share of the first day's gain that each of the n trained people of the records still held, from `faded`.
    """
    size, room = np.abs(gain), room_for(gain, survival_untrained)
    mean = size * still.mean(axis=1).reshape(-1, *[1] * (gain.ndim - 1))
    over = size > room
    if np.any(over):
        world, people, tails = np.nonzero(over)[0], still.shape[1], _tails(still)
        most, whole = room[over], size[over]
        cut = _how_many(lambda place: whole * still[world, place] > most, whole.shape, people)
        mean[over] = (cut * most + whole * tails[world, cut]) / people
    return np.asarray(np.copysign(mean, gain))


def gain_of_first_day(observed: Floats, survival_untrained: Floats, still: Floats) -> Floats:
    """The gain on the day of the course of which the records would show this difference.

    Parameters
    ----------
    observed, survival_untrained : ndarray of shape (b, ...)
        A difference beyond the room there is counts as that room.
    still : ndarray of shape (b, n)
        As `difference_recorded`.

    Returns
    -------
    ndarray of shape (b, ...)
        Uncut. Where all the room is filled, the smallest gain that fills it for everybody.
    """
    each = (-1, *[1] * (observed.ndim - 1))
    room = room_for(observed, survival_untrained)
    size = np.minimum(np.abs(observed), room)
    gain = size / still.mean(axis=1).reshape(each)
    over = gain * still[:, 0].reshape(each) > room
    if np.any(over):
        world, people, tails = np.nonzero(over)[0], still.shape[1], _tails(still)
        most, shown = room[over], size[over]

        def with_cut(place: NDArray[np.intp]) -> Floats:
            return np.asarray((people * shown - place * most) / tails[world, place])

        cut = _how_many(lambda place: with_cut(place) * still[world, place] > most, most.shape, people)
        everybody = cut == people
        filled = most / still[world, -1]
        gain[over] = np.where(everybody, filled, with_cut(np.where(everybody, 0, cut)))
    return np.asarray(np.copysign(gain, observed))


def room_for(gain: Floats, survival_untrained: Floats) -> Floats:
    """The share of people that training can still change: those who die untrained, or live where it harms."""
    return np.where(gain >= 0, 1 - survival_untrained, survival_untrained)


def _years_until_it_fits(size: Floats, room: Floats, fading: Floats) -> Floats:
    """Years after the course until the gain has faded into the room: 0 where it fits at once, infinity for never."""
    over, never = size > room, (room <= 0) | (fading <= 0)
    ratio = np.divide(
        size, room, out=np.ones(np.broadcast_shapes(size.shape, room.shape)), where=over & (room > 0)
    )
    years = np.divide(
        np.log(ratio), fading, out=np.zeros(np.broadcast_shapes(ratio.shape, fading.shape)), where=fading > 0
    )
    return np.where(over & never, np.inf, years)


def _years_there(years: Floats, rate: Floats) -> Floats:
    """Integral of exp(-rate m) over the years m from 0 to these: 1 / rate where they never end, infinite at rate 0."""
    endless = np.isinf(years)
    finite = np.where(endless, 1.0, years)
    area = finite * mean_discount(rate * finite)
    if not endless.any():
        return area
    forever = np.divide(1.0, rate, out=np.full(rate.shape, np.inf), where=rate > 0)
    return np.where(endless, forever, area)


def _tails(still: Floats) -> Floats:
    """The sum over all people but the first k, (b, n + 1)."""
    tails = np.zeros((len(still), still.shape[1] + 1))
    tails[:, :-1] = np.cumsum(still[:, ::-1], axis=1)[:, ::-1]
    return tails


def _how_many(
    over: Callable[[NDArray[np.intp]], NDArray[np.bool_]], shape: tuple[int, ...], people: int
) -> NDArray[np.intp]:
    """How many people, those who hold most first, are over the room: ``over`` is true up to there and false beyond."""
    low, high = np.zeros(shape, dtype=np.intp), np.full(shape, people, dtype=np.intp)
    while np.any(low < high):
        middle = (low + high) // 2
        above = over(np.minimum(middle, people - 1)) & (middle < high)
        low, high = np.where(above, middle + 1, low), np.where(above, high, middle)
    return low
