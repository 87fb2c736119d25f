"""Results with a whole budget case: demo results, and invented figures of a decision in each of its forms."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from survstats.study.decision_figures import bounds_table
from survstats.study.results import Cell, Number, StudyResults, Table

POLICIES = ("every second year", "every fourth year", "crew only, and rafts nearer the doors")
GROUPS = ("crew", "front passengers", "rear passengers")
#: What the verdict must carry for these to be told.
CARRIED = ("lean", "recommend")


def number(value: float, unit: str, low: float | None = None, high: float | None = None) -> Number:
    return Number(value, unit, "invented", low, high, None if low is None else 0.95)


INPUTS: dict[str, tuple[Number, str, str]] = {
    "mishaps": (number(3, "count"), "measured", "known"),
    "hours_a_year": (number(21400, "hours", 18200, 25100), "invented", "lognormal"),
    "first_course_cost": (number(1630, "money", 1420, 1870), "invented", "lognormal"),
    "refresher_cost": (number(790, "money", 690, 910), "invented", "lognormal"),
    "travel_cost": (number(340, "money"), "invented", "known"),
    "cover_cost": (number(610, "money", 430, 860), "expert", "lognormal"),
    "programme_cost_a_year": (number(58300, "money"), "assumed", "known"),
    "half_life_months": (number(23, "months", 13, 49), "invented", "lognormal"),
    "deaths_per_course": (number(0.0000019, "share", 0.0000004, 0.0000083), "invented", "lognormal"),
    "injuries_per_course": (number(0.0031, "share", 0.0014, 0.0067), "invented", "lognormal"),
    "injury_cost": (number(2750, "money", 1180, 6430), "invented", "lognormal"),
    "people.0": (number(124, "count"), "invented", "known"),
    "people.1": (number(388, "count"), "invented", "known"),
    "people.2": (number(273, "count"), "invented", "known"),
    "leavers_a_year.0": (number(0.14, "share", 0.09, 0.21), "invented", "lognormal"),
    "leavers_a_year.1": (number(0.26, "share", 0.18, 0.37), "invented", "lognormal"),
    "leavers_a_year.2": (number(0.27, "share", 0.19, 0.38), "invented", "lognormal"),
    "cost_a_year.0": (number(47200, "money", 33100, 67400), "invented", "lognormal"),
    "deaths_averted.0": (number(0.061, "share", 0.012, 0.148), "invented", "beta"),
    "overlap.0": (number(0.29, "share", 0.11, 0.52), "invented", "beta"),
}

ALWAYS: dict[str, Number] = {
    "decision.years": number(10, "years"),
    "decision.rate.0": number(0.03, "share"),
    "decision.rate.1": number(0.07, "share"),
    "decision.longest_months": number(54, "months"),
    "exposure.mishaps": number(3, "count"),
    "exposure.hours": number(203000, "hours"),
    "exposure.mishaps_a_year": number(0.374, "rate", 0.091, 0.857),
    "exposure.years_between": number(2.67, "years", 1.17, 11.0),
    "exposure.none_in_ten_years": number(0.056, "share"),
    "budget.at_risk": number(5.83, "people", 4.71, 6.98),
    "budget.deaths_a_year": number(0.664, "lives", 0.142, 1.63),
    "budget.mean_held": number(0.717, "share", 0.611, 0.843),
    "policy.0.months": number(24, "months"),
    "policy.1.months": number(48, "months"),
    "policy.2.months": number(25, "months"),
    "policy.0.cost_a_year": number(871000, "money", 712000, 1050000),
    "policy.1.cost_a_year": number(562000, "money", 468000, 691000),
    "policy.2.cost_a_year": number(244000, "money", 198000, 307000),
    "policy.1.extra_cost_a_year": number(-309000, "money", -403000, -231000),
    "policy.2.extra_cost_a_year": number(-627000, "money", -771000, -503000),
    "policy.0.courses_a_year": number(448, "courses", 401, 502),
    "policy.1.courses_a_year": number(287, "courses", 248, 333),
    "policy.2.courses_a_year": number(76, "courses", 71, 83),
    "policy.0.training_deaths_a_year": number(0.00085, "lives", 0.00018, 0.0037),
    "policy.1.training_deaths_a_year": number(0.00054, "lives", 0.00011, 0.0024),
    "policy.2.training_deaths_a_year": number(0.00014, "lives", 0.00003, 0.00063),
    "policy.1.break_even_points": number(0.0433, "difference"),
    "policy.2.break_even_points": number(0.0587, "difference"),
    "policy.1.break_even_mishaps": number(0.212, "rate"),
    "policy.2.break_even_mishaps": number(0.391, "rate"),
    "policy.1.break_even_value": number(5470000, "money"),
    "policy.2.break_even_value": number(7310000, "money"),
    **{
        f"policy.{at}.covered.{group}": number(share, "share")
        for at, shares in enumerate(((1.0, 0.92, 0.88), (1.0, 0.93, 0.87), (0.97, 0.0, 0.0)))
        for group, share in enumerate(shares)
    },
    **{f"policy.{at}.cost_discounted.0": number(7.43e6 - at * 2.31e6, "money") for at in range(3)},
    **{f"policy.{at}.cost_discounted.1": number(6.12e6 - at * 1.93e6, "money") for at in range(3)},
    "pool.capacity": number(41, "courses"),
    "policy.0.demand_a_month": number(37.3, "courses"),
    "policy.1.demand_a_month": number(23.9, "courses"),
    "policy.2.demand_a_month": number(6.37, "courses"),
    **{f"policy.{at}.overdue_at_start": number(112 - 53 * at, "people") for at in range(3)},
    "policy.0.overdue_after": number(17, "people"),
    "policy.1.overdue_after": number(4, "people"),
    "policy.2.overdue_after": number(1, "people"),
    "whom.capacity": number(430, "courses"),
    "whom.joiners": number(346, "courses"),
    "whom.gap": number(0.0021, "lives"),
    "matrix.unchanged": number(0.983, "share"),
    "budget.points": number(0.03, "difference"),
    "interval.points": number(0.031, "difference"),
    "whom.points": number(0.032, "difference"),
    "matrix.points": number(0.033, "difference"),
    "whom.horizon_months": number(21, "months"),
    "budget.no_group": number(7, "count"),
    "pool.months": number(119, "count"),
    "pool.overdue_now": number(112, "people"),
    **{f"policy.{at}.backlog_gone_month": number(13 + 7 * at, "count") for at in (1, 2)},
}

OUTCOMES: dict[str, Number] = {
    "budget.lives_per_year": number(0.0913, "lives", -0.0121, 0.274),
    "budget.cost_per_life": Number(9540000, "money", "invented", 3120000, None, 0.95),
    "budget.years_per_life": number(10.96, "years", 3.65, None),
    "budget.capped": number(0.0137, "share"),
    "policy.1.lives_a_year": number(-0.0327, "lives", -0.104, 0.0054),
    "policy.2.lives_a_year": number(-0.0519, "lives", -0.178, 0.0231),
    "policy.1.freed_per_life": Number(9450000, "money", "invented", 2870000, None, 0.95),
    "policy.2.freed_per_life": number(12100000, "money", 4310000, 88700000),
    "policy.1.chance_lives_lost": number(0.943, "share"),
    "policy.2.chance_lives_lost": number(0.872, "share"),
    "policy.1.lives_discounted.0": number(-0.279, "lives", -0.887, 0.046),
    "policy.2.lives_discounted.0": number(-0.443, "lives", -1.52, 0.197),
    "policy.1.lives_discounted.1": number(-0.23, "lives", -0.73, 0.038),
    "policy.2.lives_discounted.1": number(-0.365, "lives", -1.25, 0.162),
    "budget.evpi": number(61300, "money"),
    "policy.0.chance_best": number(0.421, "share"),
    "policy.1.chance_best": number(0.238, "share"),
    "policy.2.chance_best": number(0.341, "share"),
    "interval.best_months": number(31, "months"),
    "interval.flat_from": number(22, "months"),
    "interval.flat_to": number(43, "months"),
    "interval.today_regret": number(23400, "money"),
    "interval.best_of_worlds": number(37, "months", 16, 47),
}

TABLES: dict[str, Table] = {
    "budget_if": Table(
        (
            "policy",
            "points",
            "lives_a_year",
            "lives_low",
            "lives_high",
            "cost_per_life",
            "form",
            "cost_low",
            "cost_high",
        ),
        tuple(
            (
                at,
                points,
                slope * points + 0.0003,
                low,
                0.0021,
                per,
                form if per else "same",
                per and per / 3,
                None,
            )
            for at, slope, form in ((0, 1.13, "bought"), (1, -0.41, "freed"), (2, -0.63, "freed"))
            for points, low, per in (
                (0.0, -0.0004, None),
                (0.03, -0.041, 24.1e6 * abs(slope)),
                (0.06, -0.083, 12.3e6 * abs(slope)),
                (0.09, -0.121, 8.07e6 * abs(slope)),
            )
        ),
    ),
    "acceptability": Table(
        ("value_of_life", "policy", "chance"),
        tuple(
            (float(value), at, chance)
            for value, chances in zip(
                range(0, 24_000_001, 3_000_000),
                (
                    (0.0, 0.01, 0.99),
                    (0.08, 0.17, 0.75),
                    (0.21, 0.26, 0.53),
                    (0.36, 0.25, 0.39),
                    (0.44, 0.23, 0.33),
                    (0.49, 0.22, 0.29),
                    (0.53, 0.21, 0.26),
                    (0.57, 0.19, 0.24),
                    (0.6, 0.18, 0.22),
                ),
                strict=True,
            )
            for at, chance in enumerate(chances)
        ),
    ),
    "evpi": Table(
        ("value_of_life", "evpi"),
        tuple((3e6 * at, evpi) for at, evpi in enumerate((117, 31200, 52800, 61300, 66900, 70100))),
    ),
    "swings": Table(
        ("policy", "input", "low_at", "high_at", "lives_low", "lives_high", "cost_low", "cost_high"),
        (
            (1, "mishaps_a_year", 0.142, 0.671, -0.0143, -0.0569, -308000, -307500),
            (1, "gain", 0.021, 0.137, -0.0061, -0.0574, -309100, -309200),
            (1, "fading", 0.21, 0.54, -0.0448, -0.0217, -309300, -309400),
            (1, "refresher_cost", 1487, 1764, -0.0326, -0.0328, -271000, -356000),
        ),
    ),
    "interval": Table(
        ("months", "lives_a_year", "lives_low", "lives_high", "cost_a_year", "worth", "regret"),
        tuple(
            (
                float(months),
                0.11 - 0.0011 * months,
                -0.02 - 0.0001 * months,
                0.31 - 0.003 * months,
                121000 + 1.66e7 / months,
                9e6 * (0.11 - 0.0011 * months) - 121000 - 1.66e7 / months,
                21000 + 33.0 * (months - 31) ** 2,
            )
            for months in (6, 12, 18, 24, 31, 36, 42, 48, 54, 60)
        ),
    ),
    "whom_first": Table(
        (
            *("group", "course", "people", "courses", "gain_lives", "low", "high"),
            "chance_first",
            "rank",
            "cost",
            "chosen",
        ),
        (
            ("rear passengers", "first", 273, 211, 0.0173, -0.0021, 0.0487, 0.612, 1, 187000, 1),
            ("crew", "refresher", 124, 97, 0.0061, -0.0008, 0.0172, 0.311, 2, 84300, 1),
            ("front passengers", "refresher", 388, 302, 0.0094, -0.0017, 0.0274, 0.077, 3, 266000, 0),
        ),
    ),
    "pool": Table(
        ("month", "policy", "due", "trained", "overdue"),
        tuple((month, at, 38 + month, 41, 17 - month) for at in range(3) for month in (1, 2, 3)),
    ),
    "budget_groups": Table(
        (
            "group",
            "name",
            "aboard",
            "at_risk",
            "at_risk_low",
            "at_risk_high",
            "untrained",
            "trained",
            "borrowed",
        ),
        (
            (0, "crew", 123, 1.78, 1.61, 1.97, 14, 33, "none"),
            (1, "front passengers", 57, 0.801, 0.543, 1.11, 18, 3, "trained"),
            (2, "rear passengers", 94, 1.36, 1.02, 1.72, 4, 9, "both"),
        ),
    ),
    "interval_steps": Table(
        (*("from_months", "to_months", "lives_more", "cost_more", "cost_per_life"), "best_from", "best_to"),
        ((48, 36, 0.0113, 209000, 18.4e6, 18.4e6, 28e6), (36, 24, 0.0152, 426000, 28e6, 28e6, 45.1e6)),
    ),
}

CODES: dict[str, str] = {
    "budget.direction": "benefit",
    "policy.best": "0",
    "interval.finding": "inside",
    "interval.shape": "no_value",
    "pool.overdue": "given",
    "whom.basis": "given",
    "matrix.source": "memory",
    **{f"policy.{at}.today": "no" if at else "yes" for at in range(3)},
    **{
        f"policy.{at}.break_even_{name}_form": "below"
        for at in (1, 2)
        for name in ("value", "points", "mishaps")
    },
    "whom.method": "exact",
    **{f"policy.{at}.pool": state for at, state in enumerate(("falls_behind", "keeps_up", "keeps_up"))},
}
ONLY_CARRIED = ("acceptability", "evpi", "swings")


def budget_inputs(names: Mapping[str, tuple[Number, str, str]]) -> Table:
    rows: list[tuple[Cell, ...]] = [
        (name, n.value, n.low, n.high, shape, n.unit, quality) for name, (n, quality, shape) in names.items()
    ]
    return Table(("name", "value", "low", "high", "shape", "unit", "quality"), tuple(rows))


def budget_bounds() -> Table:
    columns, rows = bounds_table()
    return Table(columns, tuple(rows))


OF_THE_DECISION = (
    "decision",
    "policy",
    "group",
    "spend",
    "input",
    "exposure",
    "budget",
    "interval",
    "whom",
    "pool",
)


def _without(results: StudyResults) -> StudyResults:
    """The results without the decision that the demo itself has."""
    parts = {
        part: {
            name: told
            for name, told in getattr(results, part).items()
            if name.split(".")[0].split("_")[0] not in (*OF_THE_DECISION, "matrix", *TABLES)
        }
        for part in ("numbers", "codes", "texts", "lists", "absent", "tables")
    }
    return replace(results, **parts)


def with_budget(results: StudyResults, form: str, *, value: bool = True, **codes: str) -> StudyResults:
    """The results with a decision in one of its forms; ``value``: the study file gives a value of a life."""
    missing = ("travel_cost", "half_life_months") if form == "inputs_missing" else ()
    given = {"value_of_life": (number(11800000, "money"), "expert", "known")} if value else {}
    inputs = {name: told for name, told in {**INPUTS, **given}.items() if name not in missing}
    carried = form in CARRIED
    results = _without(results)
    tables = {name: table for name, table in TABLES.items() if carried or name not in ONLY_CARRIED}
    if form in ("inputs_missing", "not_drawn"):
        tables = {}
    numbers = {
        **{
            name: n for name, n in ALWAYS.items() if tables or ".covered." in name or name.endswith(".months")
        },
        **(OUTCOMES if carried else {}),
        **{f"input.{name}": told[0] for name, told in inputs.items()},
    }
    if not (value and carried):
        numbers = {name: n for name, n in numbers.items() if not name.endswith((".evpi", ".chance_best"))}
    if carried:
        numbers = {name: n for name, n in numbers.items() if not name.endswith(".points")}
    absent = {} if carried else dict.fromkeys((*OUTCOMES, *ONLY_CARRIED), "cannot_tell")
    texts = {
        "decision.question": "Should the refresher be due every second year, or every fourth?",
        "decision.money": "EUR",
        "decision.today": POLICIES[0],
        "decision.longest_source": "an invented contract",
        "spend.0.name": "rafts nearer the doors",
        "policy.2.cuts": "the passengers' course",
        **{f"policy.{at}.name": name for at, name in enumerate(POLICIES)},
        **{f"group.{at}.name": name for at, name in enumerate(GROUPS)},
        **{f"input.{name}.source": f"an invented list of {name}" for name in inputs},
    }
    quality = {f"input.{name}.quality": told[1] for name, told in inputs.items()}
    shape = {f"input.{name}.shape": told[2] for name, told in inputs.items()}
    lists = {
        "budget.missing": list(missing),
        "budget.rests.records": ["gain", "at_risk"],
        "budget.rests.runs": [],
        "budget.rests.given": ["exposure", "costs", "half_life"],
        "policy.2.spends": ["rafts nearer the doors"],
    }
    return replace(
        results,
        numbers={**results.numbers, **numbers},
        codes={**results.codes, **CODES, **quality, **shape, "budget.form": form, **codes},
        texts={**results.texts, **texts},
        lists={**results.lists, **lists},
        absent={**results.absent, **absent},
        tables={
            **results.tables,
            **tables,
            "budget_inputs": budget_inputs(inputs),
            "budget_bounds": budget_bounds(),
        },
    )
