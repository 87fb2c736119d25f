"""Which other ways of asking the same question were listed beforehand, and how many of them agree?"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Literal

from survstats.challenge.verdict import thresholds
from survstats.groundwork.errors import SurvstatsError
from survstats.groundwork.provenance import bytes_hash

Family = Literal["main", "population", "exposure", "covariates", "missing", "estimator", "combined"]
People = Literal["P1", "passengers", "unknown_survivability", "P2"]

CHOICES_FILE = Path(__file__).with_name("choices.toml")

#: Values alike to so many digits come from one analysis, by whatever road.
_DIGITS = 9


@dataclass(frozen=True)
class Choice:
    """One listed way of asking the question; the first is the main analysis.

    Attributes
    ----------
    number : int
        1 to 24.
    family : str
        In what it departs from the main analysis; ``combined`` departs twice.
    population : {"P1", "passengers", "unknown_survivability", "P2"}
        The last but one is P1 with the mishaps added of which nobody said whether the impact could be survived.
    exposure : {"current_v_never", "ever_v_never", "current_v_never_or_briefed", "current_v_not_current"}
    covariates : {"study", "none", "causes_of_training", "without_seat_and_kit", "with_others_aboard", "with_era"}
    missing : {"as_coded", "complete_rows", "imputed"}
        Gaps coded as gaps and nobody of unknown training compared; only people of whom every covariate is known;
        unknown training and gaps drawn.
    estimator : {"standardised", "augmented", "weighting", "mishap_average", "penalised"}
    """

    number: int
    family: Family
    population: People
    exposure: str
    covariates: str
    missing: str
    estimator: str


@dataclass(frozen=True)
class Tried:
    """What one choice says.

    Attributes
    ----------
    choice : Choice
    value : float or None
        Survival if all, minus if none of its people had been trained, in [-1, 1]; None where it cannot be estimated.
    low, high : float or None
        95 % limits; None where they were not asked for or cannot be had.
    reason : str or None
        Why there is no value.
    wobble : float
        Monte Carlo standard error of the value; 0 where nothing was drawn.
    """

    choice: Choice
    value: float | None
    low: float | None = None
    high: float | None = None
    reason: str | None = None
    wobble: float = 0.0


@cache
def choices_bytes() -> bytes:
    """The list as it was read: what is hashed is what is used, should the file be changed meanwhile."""
    return CHOICES_FILE.read_bytes()


@cache
def listed_choices() -> tuple[Choice, ...]:
    """The 24 choices in order, from ``choices.toml``; common practice, no source for which ones.

    Raises
    ------
    SurvstatsError
        ``other_choices`` where the list is not as long as the file of thresholds has it.
    """
    found = tuple(Choice(**row) for row in tomllib.loads(choices_bytes().decode())["choice"])
    asked = thresholds()["choices"]["listed"]
    if len(found) != asked:
        raise SurvstatsError(
            "other_choices", f"{len(found)} choices are listed, and the gate asks for {asked:g}."
        )
    return found


def _errors_off() -> float:
    """A number that was drawn is taken to be off by at most so many of its Monte Carlo standard errors."""
    return thresholds()["borderline"]["monte_carlo_errors"]


def choices_hash() -> str:
    """SHA-256 of the list as it was read: which choices were listed."""
    return bytes_hash(choices_bytes())


def same_sign(tried: Sequence[Tried], sign: float) -> int:
    """How many of the choices find a difference on the side of ``sign``; one without a value does not agree."""
    return sum(one.value is not None and one.value * sign > 0 for one in tried)


def inside(tried: Sequence[Tried], worthwhile: float) -> int:
    """How many of the choices find a difference smaller than ``worthwhile`` (in [0, 1]) either way."""
    return sum(one.value is not None and abs(one.value) < worthwhile for one in tried)


def different(tried: Sequence[Tried]) -> int:
    """How many different values the choices have: some are one and the same analysis in a given study."""
    return len({round(one.value, _DIGITS) for one in tried if one.value is not None})


def same_sign_range(tried: Sequence[Tried], sign: float) -> tuple[int, int]:
    """The least and the most `same_sign` could have counted with other draws, within some Monte Carlo errors."""
    errors = _errors_off()
    reached = [(one.value * sign, errors * one.wobble) for one in tried if one.value is not None]
    return sum(value - off > 0 for value, off in reached), sum(value + off > 0 for value, off in reached)


def inside_range(tried: Sequence[Tried], worthwhile: float) -> tuple[int, int]:
    """The least and the most `inside` could have counted with other draws, within some Monte Carlo errors."""
    errors = _errors_off()
    reached = [(abs(one.value), errors * one.wobble) for one in tried if one.value is not None]
    return (
        sum(value + off < worthwhile for value, off in reached),
        sum(value - off < worthwhile for value, off in reached),
    )
