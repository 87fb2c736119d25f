"""What passes through the decision floor: plausible worlds, policies, and what a policy comes to in every world."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: The two kinds of people in the last axis of `Worlds.survival_untrained` and `Worlds.gain`.
NEVER_TRAINED, TRAINED = 0, 1


@dataclass(frozen=True)
class Worlds:
    """Plausible worlds drawn from what is known: b worlds, q groups of people. Times in years, money a year.

    Attributes
    ----------
    groups : tuple of str of length q
        Names of the groups, as the study file has them.
    people : ndarray of shape (q,)
        How many people of each group are in the fleet.
    mishaps_a_year : ndarray of shape (b,)
        Expected mishaps in water, lambda H.
    at_risk : ndarray of shape (b, q)
        People of the group in a mishap who are alive at immersion and in an impact that could be survived: aboard
        times survivable share.
    survival_untrained : ndarray of shape (b, q, 2)
        Survival if not trained, of those never trained and of the trained (``NEVER_TRAINED``, ``TRAINED``).
    gain : ndarray of shape (b, q, 2)
        Risk difference on the day of the course, of the same two, as great as the fading in the records makes it: it
        may be more than there is room for, and is cut person by person, where it is held (`room.difference_held`).
    fading : ndarray of shape (b,)
        Rate a year at which the gain fades: ln 2 over the half-life.
    leaving : ndarray of shape (b, q)
        Rate a year at which people of the group leave and are replaced.
    first_cost, refresher_cost : ndarray of shape (b,)
        Money for one person's first course and one refresher: fee, travel and cover while away.
    fixed_cost : ndarray of shape (b,)
        Money a year for keeping the programme open, whatever the number of courses.
    deaths_per_course, injuries_per_course, injury_cost : ndarray of shape (b,)
        Harm of the course itself.
    false_confidence : ndarray of shape (b,)
        Survival lost by everyone who holds training, whatever its age (a share, 0 where not given).
    spends : mapping of str to Spend
        Rival ways to spend the money, by name.
    recorded_months : ndarray of shape (n,)
        Months since the course of the trained people of the records, from whom the difference was read; by default one
        person on the day of the course, so that gain is what was observed.
    """

    groups: tuple[str, ...]
    people: Floats
    mishaps_a_year: Floats
    at_risk: Floats
    survival_untrained: Floats
    gain: Floats
    fading: Floats
    leaving: Floats
    first_cost: Floats
    refresher_cost: Floats
    fixed_cost: Floats
    deaths_per_course: Floats
    injuries_per_course: Floats
    injury_cost: Floats
    false_confidence: Floats
    spends: dict[str, Spend] = field(default_factory=dict)
    recorded_months: Floats = field(default_factory=lambda: np.zeros(1))

    @property
    def draws(self) -> int:
        """How many worlds there are (b)."""
        return len(self.mishaps_a_year)


@dataclass(frozen=True)
class Spend:
    """A rival way to spend: what it costs a year, and the share of the remaining deaths it averts, by world.

    ``overlap`` is the share of what it averts that training averts already; it is taken off among people who hold
    training, up to what training averts there, and not among those who do not. All of shape (b,).
    """

    cost_a_year: Floats
    deaths_averted: Floats
    overlap: Floats


@dataclass(frozen=True)
class Policy:
    """A policy: whom it keeps trained, and how often.

    Attributes
    ----------
    name : str
    interval : float
        Years between courses; infinity: a first course and no refresher.
    covered : ndarray of shape (q,)
        Share of each group kept trained, in [0, 1].
    spends : tuple of str
        Names of the rival spends it buys.
    """

    name: str
    interval: float
    covered: Floats
    spends: tuple[str, ...] = ()


@dataclass(frozen=True)
class Outcome:
    """What a policy comes to in a settled year, against the policy of today, in every world.

    Attributes
    ----------
    lives : ndarray of shape (b,)
        Lives a year more than under the policy of today, deaths in training subtracted; negative where fewer.
    cost : ndarray of shape (b,)
        Money a year of the policy itself, injuries in training included.
    extra_cost : ndarray of shape (b,)
        Cost less the cost of the policy of today.
    deaths : ndarray of shape (b,)
        Expected deaths a year among the people at risk, under this policy (training deaths not included).
    training_deaths : ndarray of shape (b,)
    first_courses, refreshers : ndarray of shape (b,)
        Courses a year.
    """

    lives: Floats
    cost: Floats
    extra_cost: Floats
    deaths: Floats
    training_deaths: Floats
    first_courses: Floats
    refreshers: Floats
