"""Invented figures of a decision, put into the results of a study: every form in which page 1 can open with one."""

from __future__ import annotations

from dataclasses import replace

from survstats.study.results import Number, StudyResults

FORMS = ("inputs_missing", "would_have_to", "lean", "recommend")
NAMES = ("every second year", "every fourth year", "crew alone, and lit exits")
_TEXTS = {
    "decision.question": "Should passengers be called back every second year, every fourth, or not at all?",
    "decision.money": "EUR",
    "decision.today": NAMES[0],
    **{f"policy.{at}.name": name for at, name in enumerate(NAMES)},
}
_LISTS = {
    "budget.missing": ["hours_a_year"],
    "budget.rests.records": ["aboard", "at_risk", "survival", "gain", "held"],
    "budget.rests.runs": [],
    "budget.rests.given": [
        "exposure",
        "hours",
        "people",
        "leavers_a_year",
        "half_life",
        "costs",
        "course_harm",
    ],
}
_NUMBERS = {
    "policy.1.extra_cost_a_year": Number(-412_000.0, "money", "budget", -531_000.0, -327_000.0, 0.95),
    "policy.2.extra_cost_a_year": Number(-1_020_000.0, "money", "budget", -1_300_000.0, -790_000.0, 0.95),
}
_CARRIED = {
    "input.value_of_life": Number(5e6, "money", "study_file"),
    "budget.cost_per_life": Number(9.4e6, "money", "budget", 2.1e6, None, 0.95),
    **{
        f"policy.{at}.lives_a_year": Number(value, "lives", "budget", low, high, 0.95)
        for at, value, low, high in ((1, -0.031, -0.12, 0.011), (2, -0.052, -0.2, 0.02))
    },
    **{
        f"policy.{at}.chance_best": Number(chance, "share", "budget")
        for at, chance in enumerate((0.2, 0.7, 0.1))
    },
}


def with_decision(
    results: StudyResults, form: str, *, direction: str = "benefit", best: int | None = None
) -> StudyResults:
    """The results with a decision in the study file, told in this form; ``best`` is given with a value of a life."""
    results = without_decision(results)
    codes = {"budget.form": form, "budget.direction": direction, "input.hours_a_year.quality": "invented"}
    codes |= {f"policy.{at}.today": "no" if at else "yes" for at in range(len(NAMES))}
    codes |= {} if best is None else {"policy.best": str(best)}
    numbers = {} if form == "inputs_missing" else _NUMBERS | (_CARRIED if form in FORMS[2:] else {})
    return replace(
        results,
        texts={**results.texts, **_TEXTS},
        lists={**results.lists, **(_LISTS if form == "inputs_missing" else {**_LISTS, "budget.missing": []})},
        codes={**results.codes, **codes},
        numbers={**results.numbers, **numbers},
    )


def without_decision(results: StudyResults) -> StudyResults:
    """The results as of a study file that names no decision."""
    ours = ("decision.", "policy.", "budget.", "planning.", "input.", "group.", "spend.")

    def kept(entries):
        return {name: entry for name, entry in entries.items() if not name.startswith(ours)}

    codes = {**kept(results.codes), "budget.form": "not_asked"}
    return replace(
        results,
        **{name: kept(getattr(results, name)) for name in ("texts", "lists", "numbers", "tables", "absent")},
        codes=codes,
    )
