"""The word: a pure function of eight gates, each with the figure behind it."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import combinations, product
from pathlib import Path
from typing import Literal

State = Literal["met", "partly_met", "not_met", "not_assessed"]
Word = Literal["supports", "suggests", "cannot_tell"]
Chance = Literal["more_than_chance", "close", "not_shown"]
Reading = Literal["as_far_as_seen", "in_part", "no"]
Rule = Literal["sign", "inside"]

#: The eight gates, in order.
GATES = (
    "seen",
    "enough",
    "beyond_chance",
    "unknown_status",
    "miscoding",
    "other_explanations",
    "comparable",
    "choices",
)
READING_GATES = ("seen", "unknown_status", "miscoding", "other_explanations", "comparable", "choices")
_CORE_GATES = ("seen", "unknown_status", "miscoding", "other_explanations")
_NO_DIFFERENCE_GATES = ("seen", "unknown_status", "miscoding", "comparable", "choices")
#: The words, each stronger than the one before.
WORDS: tuple[Word, ...] = ("cannot_tell", "suggests", "supports")
_MOST_TO_LIFT = 2

THRESHOLDS_FILE = Path(__file__).with_name("verdict.toml")


@dataclass(frozen=True)
class Gate:
    """One gate.

    Attributes
    ----------
    name : str
        One of `GATES`.
    state : {"met", "partly_met", "not_met", "not_assessed"}
    finding : str
        A code for the finding that decided it (the sentence is made in ``report``).
    also : tuple of str
        Other states that it could have had with another seed of the random draws.
    """

    name: str
    state: State
    finding: str
    also: tuple[State, ...] = ()


@dataclass(frozen=True)
class Interval:
    """What the word is about: the difference and what is worth having.

    Attributes
    ----------
    low, high : float or None
        95 % limits of the difference, in [-1, 1]; None where no model could be fitted.
    worthwhile : float
        The smallest worthwhile difference of the study file, in (0, 1).
    sign : int
        Of the main difference: 1 where the trained did better, -1 where they did worse, 0 where nothing says. Where no
        model could be fitted it is that of the comparison of people in the same mishap, and gives the direction.
    """

    low: float | None
    high: float | None
    worthwhile: float
    sign: int = 0

    @property
    def rule(self) -> Rule:
        """``inside`` where the whole interval is smaller than worthwhile either way, else ``sign``."""
        if self.low is None or self.high is None:
            return "sign"
        return "inside" if -self.worthwhile < self.low and self.high < self.worthwhile else "sign"

    @property
    def direction(self) -> str:
        """``benefit``, ``harm`` or ``none``: on which side of 0 the interval lies, or the sign where there is none."""
        if self.low is None or self.high is None:
            return {1: "benefit", -1: "harm"}.get(self.sign, "none")
        return "benefit" if self.low > 0 else "harm" if self.high < 0 else "none"

    @property
    def size(self) -> str:
        """How the interval lies to what is worth having; ``none`` where it covers 0 or there is none."""
        if self.low is None or self.high is None or self.low <= 0 <= self.high:
            return "none"
        near, far = (self.low, self.high) if self.low > 0 else (-self.high, -self.low)
        if near >= self.worthwhile:
            return "at_least_worthwhile"
        return "smaller_than_worthwhile" if far < self.worthwhile else "may_be_smaller_than_worthwhile"

    def keeps(self, low: float, high: float, *, by: float = 0.0) -> bool:
        """Whether limits (or an estimate, given twice) keep what was found, if they lay ``by`` better than they do."""
        if self.rule == "inside":
            return -self.worthwhile < low + by and high - by < self.worthwhile
        near = low if self.sign > 0 else -high
        return self.sign != 0 and near + by > 0


@dataclass(frozen=True)
class Verdict:
    """What the gates amount to.

    Attributes
    ----------
    word : {"supports", "suggests", "cannot_tell"}
    chance : {"more_than_chance", "close", "not_shown"}
    reading : {"as_far_as_seen", "in_part", "no"}
    direction : {"benefit", "harm", "no_worthwhile_difference", "none"}
    size : {"at_least_worthwhile", "smaller_than_worthwhile", "may_be_smaller_than_worthwhile", "none"}
    assessed : int
        How many of the eight gates were assessed; one that was not counts as not met.
    """

    word: Word
    chance: Chance
    reading: Reading
    direction: str
    size: str
    assessed: int


@dataclass(frozen=True)
class Change:
    """Which gates would change the word.

    Attributes
    ----------
    up_word : str
        The stronger word that the fewest gates would earn if they were met; ``none`` where there is no stronger word,
        or where more than two gates would have to change.
    up : tuple of tuple of str
        The smallest sets of gates (one, or two) that would earn it, in the order of the gates.
    down : tuple of str
        The gates of which each would weaken the word if it alone were not met.
    """

    up_word: str
    up: tuple[tuple[str, ...], ...]
    down: tuple[str, ...]


@cache
def thresholds_bytes() -> bytes:
    """The file of thresholds, read once: what is hashed is what is used."""
    return THRESHOLDS_FILE.read_bytes()


@cache
def thresholds() -> Mapping[str, Mapping[str, float]]:
    """The thresholds of the gates, by gate, from ``verdict.toml``."""
    return tomllib.loads(thresholds_bytes().decode("utf-8"))


def chance_of(enough: State, beyond_chance: State) -> Chance:
    """Whether the difference is more than chance, from the gates 'enough' and 'beyond chance'."""
    if enough in ("not_met", "not_assessed") or beyond_chance in ("not_met", "not_assessed"):
        return "not_shown"
    return "more_than_chance" if beyond_chance == "met" else "close"


def reading_of(states: Mapping[str, State]) -> Reading:
    """How far the difference can be read as the effect of training, from the other six gates."""
    rule = thresholds()["reading"]
    counted = {name: "not_met" if states[name] == "not_assessed" else states[name] for name in READING_GATES}
    failed = [name for name in READING_GATES if counted[name] == "not_met"]
    not_full = [name for name in READING_GATES if counted[name] != "met"]
    if (
        counted["other_explanations"] == "met"
        and not failed
        and len(not_full) <= rule["as_far_most_not_fully_met"]
    ):
        return "as_far_as_seen"
    if (
        not any(name in _CORE_GATES for name in failed)
        and len(failed) <= rule["in_part_most_not_met"]
        and len(not_full) <= rule["in_part_most_not_fully_met"]
    ):
        return "in_part"
    return "no"


def decide(states: Mapping[str, State], about: Interval) -> Verdict:
    """The word, from the states of the gates and the interval of the difference.

    Parameters
    ----------
    states : mapping
        State of every gate in `GATES`; ``not_assessed`` counts as not met.
    about : Interval

    Notes
    -----
    Monotone: a gate moved towards 'met' never weakens the word.
    """
    chance = chance_of(states["enough"], states["beyond_chance"])
    reading = reading_of(states)
    direction = about.direction
    word: Word = "cannot_tell"
    if about.rule == "inside":
        direction = "none"
        settled = states["enough"] == "met" and all(
            states[name] in ("met", "partly_met") for name in _NO_DIFFERENCE_GATES
        )
        if settled:
            word, direction = "supports", "no_worthwhile_difference"
    elif chance == "more_than_chance" and states["enough"] == "met" and reading == "as_far_as_seen":
        word = "supports"
    elif chance == "more_than_chance" and reading != "no":
        word = "suggests"
    if about.low is None and chance == "not_shown":
        direction = "none"
    return Verdict(
        word=word,
        chance=chance,
        reading=reading,
        direction=direction,
        size=about.size,
        assessed=sum(states[name] != "not_assessed" for name in GATES),
    )


def borderline(gates: Sequence[Gate], about: Interval) -> bool:
    """Whether another seed of the random draws could have given another word.

    Every combination of the states that the gates have or could also have is tried; the rest as `decide`.
    """
    words = set()
    for states in product(*((gate.state, *gate.also) for gate in gates)):
        by_name = dict(zip((gate.name for gate in gates), states, strict=True))
        words.add(decide(by_name, about).word)
    return len(words) > 1


def what_would_change(states: Mapping[str, State], about: Interval) -> Change:
    """Which gates, if they were met, would earn a stronger word, and which, if not met, would weaken it.

    Parameters as `decide`. The interval stays as it is: what is told is what the checks hold back, or carry.
    """

    def word(changed: Mapping[str, State]) -> Word:
        return decide({**states, **changed}, about).word

    now = WORDS.index(word({}))
    not_full = [name for name in GATES if states[name] != "met"]
    up: tuple[tuple[str, ...], ...] = ()
    reached = 0
    for many in range(1, _MOST_TO_LIFT + 1):
        found: dict[tuple[str, ...], int] = {
            names: WORDS.index(word(dict.fromkeys(names, "met"))) for names in combinations(not_full, many)
        }
        stronger = {names: place for names, place in found.items() if place > now}
        if stronger:
            reached = min(stronger.values())
            up = tuple(names for names, place in stronger.items() if place == reached)
            break
    down = tuple(
        name for name in GATES if states[name] != "not_met" and WORDS.index(word({name: "not_met"})) < now
    )
    return Change(up_word=WORDS[reached] if up else "none", up=up, down=down)
