"""The word: a pure function of eight gates, each with the figure behind it."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Literal

State = Literal["met", "partly_met", "not_met", "not_assessed"]
Word = Literal["supports", "suggests", "cannot_tell"]
Chance = Literal["more_than_chance", "close", "not_shown"]
Reading = Literal["as_far_as_seen", "in_part", "no"]

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

THRESHOLDS_FILE = Path(__file__).with_name("verdict.toml")


@dataclass(frozen=True)
class Gate:
    """One gate: its state, and a code for the finding that decided it (the sentence is made in ``report``)."""

    name: str
    state: State
    finding: str


@dataclass(frozen=True)
class Verdict:
    """What the gates amount to.

    Attributes
    ----------
    word : {"supports", "suggests", "cannot_tell"}
    reason : str
        ``gates`` where the gates decided, ``not_all_checked`` while any has not been assessed.
    chance : {"more_than_chance", "close", "not_shown"}
    reading : {"as_far_as_seen", "in_part", "no"}
        A gate that was not assessed counts as not met here.
    direction : {"benefit", "harm", "no_worthwhile_difference", "none"}
    size : {"at_least_worthwhile", "smaller_than_worthwhile", "may_be_smaller_than_worthwhile", "none"}
    assessed : int
        How many of the eight gates were assessed.
    """

    word: Word
    reason: str
    chance: Chance
    reading: Reading
    direction: str
    size: str
    assessed: int


@cache
def thresholds() -> Mapping[str, Mapping[str, float]]:
    """The thresholds of the gates, by gate, from ``verdict.toml``."""
    return tomllib.loads(THRESHOLDS_FILE.read_text(encoding="utf-8"))


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


def decide(states: Mapping[str, State], *, low: float, high: float, worthwhile: float) -> Verdict:
    """The word, from the states of the gates and the interval of the difference.

    Parameters
    ----------
    states : mapping
        State of every gate in `GATES`.
    low, high : float
        95 % limits of the difference, in [-1, 1]; (-1, 1) where it could not be estimated.
    worthwhile : float
        The smallest worthwhile difference of the study file, in (0, 1).

    Notes
    -----
    Monotone: a gate moved towards 'met' never weakens the word. While any gate is not assessed there is no word.
    """
    chance = chance_of(states["enough"], states["beyond_chance"])
    reading = reading_of(states)
    assessed = sum(states[name] != "not_assessed" for name in GATES)
    inside = -worthwhile < low and high < worthwhile
    direction = "benefit" if low > 0 else "harm" if high < 0 else "none"
    word: Word = "cannot_tell"
    if inside:
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
    reason = "gates" if assessed == len(GATES) else "not_all_checked"
    if reason == "not_all_checked":
        word = "cannot_tell"
    return Verdict(
        word=word,
        reason=reason,
        chance=chance,
        reading=reading,
        direction=direction,
        size=_size(low, high, worthwhile),
        assessed=assessed,
    )


def _size(low: float, high: float, worthwhile: float) -> str:
    if low <= 0 <= high:
        return "none"
    near, far = (low, high) if low > 0 else (-high, -low)
    if near >= worthwhile:
        return "at_least_worthwhile"
    return "smaller_than_worthwhile" if far < worthwhile else "may_be_smaller_than_worthwhile"
