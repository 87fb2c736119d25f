"""Results of a study with another verdict than its own, to see what the paper says of it. No figure here is real."""

from __future__ import annotations

import math
from dataclasses import replace

from survstats.study.results import Number, StudyResults, Table

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
MET = {
    "seen": "documented",
    "enough": "counts",
    "beyond_chance": "any_one_out",
    "unknown_status": "keeps_interval",
    "miscoding": "both_hold",
    "other_explanations": "met",
    "comparable": "overlap",
    "choices": "most",
}
PARTLY = {
    **MET,
    "beyond_chance": "close",
    "unknown_status": "keeps_sign",
    "miscoding": "weakened",
    "other_explanations": "strength_limit",
    "choices": "many",
}
NOT = {
    **MET,
    "beyond_chance": "covers_zero",
    "unknown_status": "turns",
    "miscoding": "overturned",
    "other_explanations": "below_floor",
    "choices": "few",
}
_FINDINGS = {"met": MET, "partly_met": PARTLY, "not_met": NOT}


def difference(value: float, low: float | None = None, high: float | None = None) -> Number:
    level = None if low is None else 0.95
    return Number(value, "difference", "invented", low, high, level)


NUMBERS = {
    **{
        name: Number(value, "people", "invented")
        for name, value in {
            "tipping.unknown_dead": 41,
            "tipping.expected": 12.4,
            "tipping.not_beyond_chance": 27,
            "tipping.no_difference": 36,
            "miscoding.undocumented_dead": 13,
            "miscoding.documented_dead": 57,
            "miscoding.moved": 3.4,
        }.items()
    },
    **{
        name: Number(value, "ratio", "invented")
        for name, value in {
            "fitness.odds_limit": 1.7,
            "fitness.odds_estimate": 2.4,
            "fitness.floor_odds": math.exp(0.75),
            "hidden_bias.gamma": 1.2,
        }.items()
    },
    "fitness.floor": Number(0.75, "logit_per_sd", "study_file"),
    "threshold.lower_floor": Number(0.5, "logit_per_sd", "rule"),
    "threshold.same_sign": Number(0.9, "share", "rule"),
    "fitness.largest_shift": difference(0.03),
    "impact_death.rd": difference(-0.06, -0.11, -0.01),
    "impact_death.margin": difference(0.03),
    "impact_death.noticeable": difference(0.05),
    "choices.listed": Number(24, "count", "counted"),
    "choices.same_sign": Number(23, "count", "counted"),
    "choices.not_made": Number(0, "count", "counted"),
    "choices.different": Number(21, "count", "counted"),
    "choices.smallest": difference(0.02),
    "choices.largest": difference(0.14),
    "miscoding.rd_found": difference(0.07, 0.01, 0.13),
    "miscoding.rd_all_unknown": difference(0.06, -0.01, 0.13),
    "under_reporting.rd_quarter": difference(0.05, -0.01, 0.11),
}


def with_gates(results: StudyResults, **states: str) -> StudyResults:
    """The results with other gates, each ``met`` unless said otherwise; ``not_met:shift`` says the finding too."""
    rows = []
    for name in GATES:
        state, _, finding = states.get(name, "met").partition(":")
        rows.append((name, state, finding or _FINDINGS[state][name]))
    codes = {f"gate.{name}.state": state for name, state, _ in rows}
    codes |= {f"gate.{name}.finding": finding for name, _, finding in rows}
    tables = {**results.tables, "gates": Table(("gate", "state", "finding"), tuple(rows))}
    return replace(results, codes={**results.codes, **codes}, tables=tables)


def with_verdict(
    results: StudyResults,
    *,
    word: str,
    direction: str = "none",
    chance: str = "more_than_chance",
    reading: str = "in_part",
    size: str = "none",
    tipping: str = "crosses",
    up: tuple[str, ...] = (),
    limits: tuple[float, float, float] | None = None,
    **more: str,
) -> StudyResults:
    """The results with another verdict.

    Parameters
    ----------
    results : StudyResults
    word, direction, chance, reading, size : str
        Codes of the verdict.
    tipping : str
        Whether some number of the unknown dead would leave no more than chance.
    up : tuple of str
        The gates that would earn a stronger word.
    limits : (value, low, high), optional
        Of the difference.
    more : str
        Other codes of the verdict, by name.
    """
    why = {"more_than_chance": "any_one_out", "close": "close"}
    shown = {"benefit": "more_often", "harm": "less_often"}.get(direction, chance)
    codes = {
        "verdict.word": word,
        "verdict.reason": "gates",
        "verdict.direction": direction,
        "verdict.chance": chance,
        "verdict.chance_shown": shown if chance == "more_than_chance" else chance,
        "verdict.chance_why": why.get(chance, "covers_zero"),
        "verdict.reading": reading,
        "verdict.reading_shown": reading,
        "verdict.reading_why": reading,
        "verdict.size": size,
        "verdict.borderline": "no",
        "verdict.word_at_lower_floor": word,
        "verdict.few_mishaps_route": "no",
        "tipping.chance_state": tipping,
        "tipping.difference_state": tipping,
        "change.up_word": "suggests" if up else "none",
        **{f"verdict.{name}": value for name, value in more.items()},
    }
    numbers = dict(NUMBERS)
    if tipping != "crosses":
        del numbers["tipping.not_beyond_chance"], numbers["tipping.no_difference"]
    if limits is not None:
        numbers["effect.rd"] = replace(
            results.numbers["effect.rd"], value=limits[0], low=limits[1], high=limits[2]
        )
    return replace(
        results,
        numbers={**results.numbers, **numbers},
        codes={**results.codes, **codes},
        lists={**results.lists, "change.up": list(up), "change.down": [], "fitness.shift_group": ["seat"]},
    )
