"""The twelve challenges: what each asks of the finding, and the rule by which it holds, weakens or falls.

What is challenged is the finding of the study as `Interval` has it: a direction, or that the difference is smaller than
worthwhile. A challenge of which a gate speaks follows that gate, its finding too, so that page 1 and annex say the
same; it overturns nothing where the gate is not met for an interval that was open before.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from survstats.challenge.hidden_bias import HiddenBias
from survstats.challenge.verdict import Gate, Interval, State
from survstats.groundwork.errors import SurvstatsError
from survstats.groundwork.estimate import Estimate

ChallengeState = Literal["holds", "weakens", "overturns", "not_assessable"]
Crossing = Literal["crosses", "never", "already", "dips"]

#: The challenges in order, and the ids of the figures behind each.
FIGURES = {
    "survivor_headline": ("claim.rd_low", "claim.rd_high"),
    "worst_case": ("unknown.rd_low", "unknown.rd_high"),
    "unknown_dead": ("tipping.not_beyond_chance", "tipping.no_difference"),
    "fitness": ("fitness.strength_limit", "fitness.strength_estimate"),
    "hidden_bias": ("hidden_bias.gamma", "hidden_bias.gamma_passengers"),
    "wrong_entries": ("miscoding.rd_found", "miscoding.rd_all_unknown"),
    "impact_death": ("impact_death.rd",),
    "one_mishap": ("effect.rd_without_one",),
    "choices": ("choices.same_sign", "choices.listed"),
    "under_reporting": ("under_reporting.rd_quarter", "under_reporting.rd_half"),
    "counterparts": ("gate.comparable.inside", "gate.comparable.effective"),
    "calibration": ("adequacy.calibration_slope",),
}
CHALLENGES = tuple(FIGURES)

#: What each challenge can find; every one has its sentence in the catalogue.
FINDINGS: dict[str, tuple[str, ...]] = {
    "survivor_headline": ("nothing", "alone", "bounded"),
    "worst_case": ("nobody_unknown", "not_estimated", "opposite", "covers_zero", "excludes_zero"),
    "unknown_dead": ("nobody_unknown", "not_estimated", "crosses", "never", "already", "dips"),
    "fitness": ("not_estimated", "below_floor", "limit_below_floor", "above_floor"),
    "hidden_bias": (
        *("few_mishaps", "not_distinguishable", "withstands", "opposite"),
        *("passengers_withstands", "passengers_not_distinguishable", "passengers_opposite"),
    ),
    "wrong_entries": (
        *("no_undocumented", "few_documented", "not_estimated"),
        *("both_hold", "weakened", "overturned", "already_open"),
    ),
    "impact_death": ("not_estimated", "quiet", "blind", "alarm"),
    "one_mishap": ("not_estimated", "keeps_interval", "keeps_sign", "turns"),
    "choices": ("not_estimated", "most", "many", "few"),
    "under_reporting": ("none_harmless", "not_estimated", "keeps_interval", "keeps_sign", "turns"),
    "counterparts": ("not_estimated", "overlap", "partly", "little"),
    "calibration": ("not_estimated", "good", "poor"),
}

_OF_GATE: dict[State, ChallengeState] = {
    "met": "holds",
    "partly_met": "weakens",
    "not_met": "overturns",
    "not_assessed": "not_assessable",
}


@dataclass(frozen=True)
class Challenge:
    """One challenge and how the finding fares.

    Attributes
    ----------
    name : str
        One of `CHALLENGES`.
    state : {"holds", "weakens", "overturns", "not_assessable"}
    finding : str
        A code for what was found (the sentence is made in ``report``).
    figures : tuple of str
        Ids of the numbers behind it.
    """

    name: str
    state: ChallengeState
    finding: str
    figures: tuple[str, ...]


def not_assessable(name: str, finding: str = "not_estimated") -> Challenge:
    """A challenge that these records cannot take up."""
    return _told(name, "not_assessable", finding)


def survivor_headline(known: tuple[float, float] | None, *, lived: bool, about: Interval) -> Challenge:
    """What would the training of the survivors alone carry?

    Parameters
    ----------
    known : (float, float) or None
        Limits of the range of the raw difference with what is known of the training of the dead; None where nothing is.
    lived : bool
        Whether anybody of known training lived, so that there is a headline at all.
    about : Interval
    """
    if not lived:
        return not_assessable("survivor_headline", "nothing")
    if known is None:
        return not_assessable("survivor_headline", "alone")
    return _told("survivor_headline", _of_range(known, about), "bounded")


def worst_case(limits: tuple[float, float] | None, *, unknown: int, about: Interval) -> Challenge:
    """Does it stand whatever the training of the unknown was?

    ``limits`` are those of the range over every status; ``unknown`` how many people are unknown.
    """
    if unknown == 0:
        return _told("worst_case", "holds", "nobody_unknown")
    if limits is None:
        return not_assessable("worst_case")
    state = _of_range(limits, about)
    covers = limits[0] <= 0 <= limits[1]
    finding = "opposite" if state == "overturns" else "covers_zero" if covers else "excludes_zero"
    return _told("worst_case", state, finding)


def unknown_dead(
    chance: Crossing | None, difference: Crossing | None, *, unknown: int, gate: Gate
) -> Challenge:
    """How many of the unknown dead would have to have been trained before it is gone?

    Parameters
    ----------
    chance, difference : {"crosses", "never", "already", "dips"} or None
        Whether there is a number of them at which the interval covers 0, and at which there is no difference, as
        `survstats.challenge.moved_unknown.Vanishing` has it; None where the points could not be estimated.
    unknown : int
        Dead of unknown training.
    gate : Gate
        Gate 4, whose state decides unless no number would do.
    """
    if unknown == 0:
        return _told("unknown_dead", "holds", "nobody_unknown")
    if chance is None or difference is None:
        return not_assessable("unknown_dead")
    if chance == "never":
        return _told("unknown_dead", "holds", "never")
    return _told("unknown_dead", _OF_GATE[gate.state], chance)


def fitness(strength_limit: float | None, strength_estimate: float | None, *, floor: float) -> Challenge:
    """Could a hidden difference in fitness have made it all?"""
    if strength_estimate is None or strength_limit is None:
        return not_assessable("fitness")
    if strength_estimate < floor:
        return _told("fitness", "overturns", "below_floor")
    if strength_limit < floor:
        return _told("fitness", "weakens", "limit_below_floor")
    return _told("fitness", "holds", "above_floor")


def hidden_bias(bias: HiddenBias | None, of_passengers: HiddenBias | None, *, about: Interval) -> Challenge:
    """Does the comparison of people in the same mishap stand a hidden bias?

    Inside a mishap role and seat are not held equal, so that crew who are trained more often, and live more often, can
    carry it. The worse of everyone's and the passengers' comparison therefore decides; ``of_passengers`` is None where
    it could not be made, or is the same.
    """
    if bias is None:
        return not_assessable("hidden_bias", "few_mishaps")
    every = _bias_found(bias, about)
    alone = None if of_passengers is None else _bias_found(of_passengers, about)
    if every == "opposite" or (every == "not_distinguishable" and alone != "opposite"):
        return _told("hidden_bias", "overturns" if every == "opposite" else "weakens", every)
    if alone is None:
        return _told("hidden_bias", "holds", "withstands")
    if alone == "opposite":
        return _told("hidden_bias", "overturns", "passengers_opposite")
    if alone == "not_distinguishable":
        return _told("hidden_bias", "weakens", "passengers_not_distinguishable")
    return _told("hidden_bias", "holds", "passengers_withstands")


def _bias_found(bias: HiddenBias, about: Interval) -> str:
    """Whether one comparison withstands some bias, is no more than chance without any, or points the other way."""
    if bias.gamma <= 1:
        return "not_distinguishable"
    return "withstands" if (bias.direction == "benefit") == (about.sign > 0) else "opposite"


def wrong_entries(gate: Gate) -> Challenge:
    """Does it stand if trained people who died were written down as untrained?

    ``gate`` is gate 5 without the suspicion that training was written down by who lived, which is a fault of the
    records and no figure. Where the interval was open before any entry was doubted nothing falls: it weakens.
    """
    if gate.finding in ("few_documented", "not_estimated"):
        return not_assessable("wrong_entries", gate.finding)
    weakens = gate.finding == "already_open"
    return _told("wrong_entries", "weakens" if weakens else _OF_GATE[gate.state], gate.finding)


def impact_death(alarm: bool | None, *, beyond_margin: bool) -> Challenge:
    """Do the trained differ where escape training can hardly act?

    ``beyond_margin`` says that the difference is larger than what is let pass; without an alarm its interval is then so
    wide that the check sees too little to be quiet about it (``blind``).
    """
    if alarm is None:
        return not_assessable("impact_death")
    if not (alarm or beyond_margin):
        return _told("impact_death", "holds", "quiet")
    return _told("impact_death", "weakens", "alarm" if alarm else "blind")


def one_mishap(
    whole: Estimate | None, without_one: Sequence[tuple[float, float, float]] | None, *, about: Interval
) -> Challenge:
    """Does one mishap carry it?

    Parameters
    ----------
    whole : Estimate or None
        The difference.
    without_one : sequence of (difference, low, high) or None
        The same with one mishap left out.
    about : Interval
    """
    if whole is None or not without_one:
        return not_assessable("one_mishap")
    return _kept("one_mishap", [(whole.value, whole.low, whole.high), *without_one], about)


def choices(gate: Gate) -> Challenge:
    """Do the listed ways of doing the analysis agree? ``gate`` is gate 8."""
    if gate.finding == "not_estimated":
        return not_assessable("choices")
    return _told("choices", _OF_GATE[gate.state], gate.finding)


def under_reporting(differences: Sequence[Estimate] | None, *, harmless: int, about: Interval) -> Challenge:
    """Does it stand if mishaps that everyone survived were reported less often?

    ``differences`` are those under each share reported; ``harmless`` the mishaps where everyone compared lived.
    """
    if harmless == 0:
        return not_assessable("under_reporting", "none_harmless")
    if not differences:
        return not_assessable("under_reporting")
    return _kept("under_reporting", [(one.value, one.low, one.high) for one in differences], about)


def counterparts(gate: Gate) -> Challenge:
    """Have the trained and the untrained counterparts in each other's group? ``gate`` is gate 7."""
    if gate.finding == "not_estimated":
        return not_assessable("counterparts")
    finding = {"met": "overlap", "partly_met": "partly"}.get(gate.state, "little")
    return _told("counterparts", _OF_GATE[gate.state], finding)


def calibration(reading: str | None) -> Challenge:
    """Do the chances of survival that the model gives come true in mishaps it has not seen?

    ``reading`` is ``fits``, ``too_sure`` or ``no_better``; None where it could not be told.
    """
    if reading is None:
        return not_assessable("calibration")
    return _told(
        "calibration", "holds" if reading == "fits" else "weakens", "good" if reading == "fits" else "poor"
    )


def where_something_was_found(challenge: Challenge, *, about: Interval) -> Challenge:
    """The challenge, which cannot be assessed where nothing was found that could hold or fall."""
    return challenge if about.sign or about.rule == "inside" else replace(challenge, state="not_assessable")


def _told(name: str, state: ChallengeState, finding: str) -> Challenge:
    if finding not in FINDINGS[name]:
        raise SurvstatsError("unlisted_finding", f"The challenge {name} lists no finding {finding}.")
    return Challenge(name, state, finding, FIGURES[name])


def _kept(name: str, rows: Sequence[tuple[float, float, float]], about: Interval) -> Challenge:
    """Whether every interval, or at least every estimate, keeps what was found."""
    if all(about.keeps(low, high) for _, low, high in rows):
        return _told(name, "holds", "keeps_interval")
    if all(about.keeps(value, value) for value, _, _ in rows):
        return _told(name, "weakens", "keeps_sign")
    return _told(name, "overturns", "turns")


def _of_range(limits: tuple[float, float], about: Interval) -> ChallengeState:
    """Whether a range keeps what was found, leaves it open, or contradicts it."""
    low, high = limits
    if about.keeps(low, high):
        return "holds"
    if about.rule == "inside":
        apart = low >= about.worthwhile or high <= -about.worthwhile
    else:
        apart = high < 0 if about.sign > 0 else low > 0 if about.sign < 0 else False
    return "overturns" if apart else "weakens"
