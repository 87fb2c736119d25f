"""How many of the people at risk die in a year under a policy, in every plausible world?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from survstats.decision.room import room_for, survival_holding
from survstats.decision.world import NEVER_TRAINED, TRAINED, Policy, Worlds

Floats = NDArray[np.float64]


def deaths_under(worlds: Worlds, policy: Policy, *, today: Policy) -> Floats:
    """Deaths a year (b,) among the people at risk under a policy, at its own interval.

    Parameters
    ----------
    worlds : Worlds
    policy : Policy
    today : Policy
        Who is covered by it counts as trained.
    """
    return deaths_at(worlds, (policy,), np.array([policy.interval]), today=today)[:, 0, 0]


def deaths_at(
    worlds: Worlds,
    policies: Sequence[Policy],
    years: Floats,
    *,
    today: Policy,
    part: slice = slice(None),
) -> Floats:
    """Deaths a year among the people at risk under policies that differ in cover and spends, had they other intervals.

    Parameters
    ----------
    worlds : Worlds
    policies : sequence of s Policy
        Their intervals are not used.
    years : ndarray of shape (r,)
        Years between courses.
    today : Policy
        Who is covered by it counts as trained.
    part : slice
        The b worlds that are asked for.

    Returns
    -------
    ndarray of shape (b, s, r)

    Notes
    -----
    Of people who hold training d die before any rival spend, of the others u. Spends that avert e of all deaths, of
    which training averts the share o already, leave min(d (1 - e (1 - o)), max(d, u) (1 - e)): together they avert no
    less than either alone and no more than both, and no overlap is greater than what training averts.
    """
    at_risk = (worlds.mishaps_a_year[part, None] * worlds.at_risk[part])[..., None]
    untrained = worlds.survival_untrained[part]
    trained_die = 1 - survival_holding(
        worlds.gain[part, ..., None],
        untrained[..., None],
        worlds.false_confidence[part, None, None, None],
        interval=years,
        fading=worlds.fading[part, None, None, None],
        leaving=worlds.leaving[part, :, None, None],
    )
    draws, points = len(at_risk), len(years)
    deaths = np.empty((draws, len(policies), points))
    for spends in dict.fromkeys(one.spends for one in policies):
        own = [at for at, one in enumerate(policies) if one.spends == spends]
        overlapping, alone = (left[part, None, None] for left in _left_by_rivals(worlds, spends))
        holding, without = _shares_of([policies[at] for at in own], today)
        untrained_die = (1 - untrained) * alone
        dies = trained_die
        if spends:
            dies = np.maximum(trained_die, (1 - untrained)[..., None]) * alone[..., None]
            np.minimum(dies, trained_die * overlapping[..., None], out=dies)
        weights = (at_risk[:, None] * holding).reshape(draws, len(own), -1)
        deaths[:, own] = np.matmul(weights, dies.reshape(draws, -1, points))
        deaths[:, own] += np.einsum("bqt,sqt->bs", at_risk * untrained_die, without)[..., None]
    return deaths


def _shares_of(policies: Sequence[Policy], today: Policy) -> tuple[Floats, Floats]:
    """`_shares` of policies, (s, q, 2)."""
    both = [_shares(one.covered, today.covered) for one in policies]
    return np.stack([one for one, _ in both]), np.stack([one for _, one in both])


def _shares(covered: Floats, covered_today: Floats) -> tuple[Floats, Floats]:
    """Shares of each group who hold training and who do not, (q, 2): never trained and trained, as of today."""
    kept, added = np.minimum(covered, covered_today), np.maximum(covered - covered_today, 0)
    dropped = np.maximum(covered_today - covered, 0)
    holding, without = np.empty((2, len(covered), 2))
    holding[:, NEVER_TRAINED], holding[:, TRAINED] = added, kept
    without[:, NEVER_TRAINED], without[:, TRAINED] = 1 - kept - added - dropped, dropped
    return holding, without


def _left_by_rivals(worlds: Worlds, spends: Sequence[str]) -> tuple[Floats, Floats]:
    """Shares of deaths that rival spends leave (b,): the overlap with training taken off, and among people without any.

    Among people who hold training the first is of the deaths that training leaves; more than the second of all deaths
    is never left, since together they avert no less than the spends alone.
    """
    overlapping, alone = np.ones(worlds.draws), np.ones(worlds.draws)
    for name in spends:
        spend = worlds.spends[name]
        overlapping = overlapping * (1 - spend.deaths_averted * (1 - spend.overlap))
        alone = alone * (1 - spend.deaths_averted)
    return overlapping, alone


def share_cut(worlds: Worlds, policies: Sequence[Policy], *, today: Policy) -> float:
    """Share of the worlds in which somebody whom a policy trains has less room for the gain than there is of it.

    There the gain of the first day is held whole until it has faded into the room (`room.difference_held`): no more can
    live than all. Where that is often, the fading that was given is faster than the records leave room for.

    Parameters
    ----------
    worlds : Worlds
    policies : sequence of Policy
    today : Policy
        Who is covered by it counts as trained.
    """
    somebody = np.any([_shares(policy.covered, today.covered)[0] > 0 for policy in policies], axis=0)
    there = somebody & (worlds.at_risk[..., None] > 0)
    over = np.abs(worlds.gain) > room_for(worlds.gain, worlds.survival_untrained)
    return float(np.any(there & over, axis=(1, 2)).mean())
