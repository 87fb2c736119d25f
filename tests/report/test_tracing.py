"""If one stored number changes, do exactly its own words change on the papers?"""

from __future__ import annotations

import datetime
from dataclasses import fields, is_dataclass, replace
from functools import cache

import pytest

from survstats.report.brief import brief_content
from survstats.report.content import Piece
from survstats.report.records_paper import records_content
from survstats.study.results import MASKED, Number, StudyResults, Table

DATE = datetime.date(2026, 11, 24)
STUDIES = ("demo_main", "demo_small", "demo_null", "demo_survivor_only")
#: demo_main and the one without an estimate in the default run; the others take the same roads.
PARAMETERS = [
    name if name in ("demo_main", "demo_survivor_only") else pytest.param(name, marks=pytest.mark.slow)
    for name in STUDIES
]


def pieces(part):
    if isinstance(part, Piece):
        yield part
    elif isinstance(part, tuple):
        for inner in part:
            yield from pieces(inner)
    elif is_dataclass(part):
        for field in fields(part):
            yield from pieces(getattr(part, field.name))


def words(results: StudyResults) -> list[Piece]:
    """Every piece of both papers."""
    return [
        piece
        for content in (brief_content(results, date=DATE), records_content(results, date=DATE))
        for piece in pieces(content)
    ]


def moved(value: float | None, unit: str) -> float | None:
    if value is None:
        return None
    if unit in ("share", "difference"):
        return value - 0.37 if value > 0.3 else value + 0.37
    return value + 1234 if unit in ("count", "year", "months") else 3 * value + 5


def nought(number: Number) -> bool:
    """A count of nobody: another sentence stands in its place, which is no change of a number."""
    return number.unit == "count" and number.value == 0


def drawn(results: StudyResults, field: str) -> bool:
    """Whether a field is drawn: one that is known of everyone is only named, which is no change of a number."""
    return any(
        results.numbers[f"gaps.{field}.known_{fate}"].value
        != results.numbers[f"gaps.{field}.of_{fate}"].value
        for fate in ("died", "survived")
        if f"gaps.{field}.known_{fate}" in results.numbers
    )


def changed(number: Number) -> Number:
    level = None if number.level is None else 0.8
    parts = {name: moved(getattr(number, name), number.unit) for name in ("value", "low", "high")}
    counts = {name: moved(getattr(number, name), "count") for name in ("mishaps", "occupants")}
    return replace(number, level=level, df=moved(number.df, "df"), **parts, **counts)


def with_everything(results: StudyResults) -> StudyResults:
    """What a demo study need not have: a filter, a run log, an accepted rule, two coders, people without a row."""
    some = {
        "log.plan_number": 2,
        "log.plans_here": 3,
        "log.plans": 5,
        "log.states": 4,
        "cohort.ledger.no_row": 6,
        "gaps.no_row": 7,
        "records.not_blind": 3,
        "records.blind_unknown": 2,
        "seen.order_unclear": 4,
        "times.given": 230,
        "times.of_survivors": 229,
        "times.points": 20,
        "times.bands": 210,
    }
    for field, same, pairs in (("survivability", 36, 41), ("severity", 30, 39)):
        some |= {f"agreement.{field}_same": same, f"agreement.{field}_pairs": pairs}
        some[f"agreement.{field}_open"] = pairs - 33
    counts = {
        **{name: Number(count, "count", "counted") for name, count in some.items()},
        "agreement.survivability_share": Number(0.88, "share", "exact", 0.74, 0.96, 0.95, mishaps=41),
        "agreement.severity_share": Number(0.77, "share", "exact", 0.61, 0.89, 0.95, mishaps=39),
        "population.first_year": Number(1990, "year", "study_file"),
        "population.last_year": Number(2024, "year", "study_file"),
        "agreement.survivability": Number(0.7, "ratio", "weighted_kappa", 0.5, 0.9, 0.95, mishaps=41),
        "agreement.severity": Number(0.5, "ratio", "weighted_kappa", 0.3, 0.7, 0.95, mishaps=39),
    }
    accepted = Table(
        ("rule", "title", "findings", "reason"),
        (("R7", "Wave height and sea state disagree", 3, "hindcast"),),
    )
    fields = [field for field in results.lists["gaps.fields"] if drawn(results, field)]
    return replace(
        results,
        numbers={**results.numbers, **counts},
        codes={**results.codes, "log.state": "kept", "unknown.rows": "part"},
        lists={**results.lists, "gaps.fields": fields},
        tables={**results.tables, "accepted": accepted},
    )


@pytest.fixture(scope="module")
def filled(demo_results):
    """The demo studies with every optional text and list filled, so that each has its place on the paper."""

    @cache
    def fill(name: str) -> StudyResults:
        results = with_everything(demo_results[name])
        texts = {key: value or f"some {key}" for key, value in results.texts.items()}
        lists = {
            key: value if key.startswith("change.") else value or ["role"]
            for key, value in results.lists.items()
        }
        return replace(results, texts=texts, lists={**lists, "records.banners": []})

    return fill


def demand_only(before: list[Piece], after: list[Piece], name: str) -> None:
    assert len(before) == len(after)
    differing = {old.id for old, new in zip(before, after, strict=True) if old.text != new.text}
    assert differing == {name}
    still = [
        old.text for old, new in zip(before, after, strict=True) if old.id == name and old.text == new.text
    ]
    assert still == []


def quoted(results: StudyResults) -> set[str]:
    return {piece.id for piece in words(results) if piece.id}


@pytest.mark.parametrize("study", PARAMETERS)
def test_each_number_changes_its_own_words_and_no_other(filled, study):
    results = filled(study)
    before = words(results)
    names = quoted(results) & set(results.numbers)
    assert len(names) > (40 if study != "demo_survivor_only" else 25)
    for name in sorted(names):
        after = words(replace(results, numbers={**results.numbers, name: changed(results.numbers[name])}))
        demand_only(before, after, name)


@pytest.mark.parametrize("study", PARAMETERS)
def test_each_number_that_is_not_quoted_changes_nothing(filled, study):
    results = filled(study)
    before, known = words(results), quoted(results)
    rest = {
        name: changed(number)
        for name, number in results.numbers.items()
        if name not in known and not nought(number)
    }
    assert words(replace(results, numbers={**results.numbers, **rest})) == before


@pytest.mark.slow
@pytest.mark.parametrize("study", STUDIES)
def test_each_limit_alone_changes_nothing_but_its_number(filled, study):
    results = filled(study)
    before = words(results)
    for name, number in results.numbers.items():
        for part in ("value", "low", "high"):
            if getattr(number, part) is None or nought(number):
                continue
            one = replace(number, **{part: moved(getattr(number, part), number.unit)})
            after = words(replace(results, numbers={**results.numbers, name: one}))
            differing = {old.id for old, new in zip(before, after, strict=True) if old.text != new.text}
            assert differing <= {name}


def test_each_text_and_list_changes_its_own_words(filled):
    results = filled("demo_main")
    before, names = words(results), quoted(results)
    texts = [name for name in results.texts if name in names]
    assert set(texts) == {
        "study.place",
        "study.prepared_by",
        "study.reviewed_by",
        "study.funding",
        "study.title",
        "decision.question",
        "decision.money",
        *(f"policy.{at}.name" for at in range(3)),
    }
    for name in texts:
        demand_only(before, words(replace(results, texts={**results.texts, name: "other words"})), name)
    lists = [name for name in results.lists if name in names]
    assert {"plan.groups_left_out", "budget.rests.records", "budget.rests.given"} <= set(lists)
    for name in lists:
        demand_only(before, words(replace(results, lists={**results.lists, name: ["sex", "age"]})), name)
    for name in results.provenance:
        if f"provenance.{name}" in names:
            other = {**results.provenance, name: "fedcba9876543210"}
            demand_only(before, words(replace(results, provenance=other)), f"provenance.{name}")


def cells(results: StudyResults) -> dict[str, tuple[str, int, int]]:
    """Table, row and column of every id that a cell can have."""
    return {
        f"{name}.{at}.{column}": (name, at, place)
        for name, table in results.tables.items()
        for at in range(len(table.rows))
        for place, column in enumerate(table.columns)
    }


@pytest.mark.parametrize("study", PARAMETERS)
def test_each_cell_of_a_table_changes_its_own_words(filled, study):
    results = filled(study)
    before, places = words(results), cells(results)
    names = quoted(results) & set(places)
    assert {name.split(".")[0] for name in names} >= {"accepted", "findings_by_rule", "ledger_p1"}
    for name in sorted(names):
        table, at, place = places[name]
        old = results.tables[table]
        cell = old.rows[at][place]
        if cell == 0 or name.endswith(".fields"):
            continue
        new = "light" if isinstance(cell, str) else cell + 1234
        new = 1234.0 if cell == "not_reached" else new
        rows = list(old.rows)
        rows[at] = (*rows[at][:place], new, *rows[at][place + 1 :])
        changed_table = Table(old.columns, tuple(rows))
        demand_only(before, words(replace(results, tables={**results.tables, table: changed_table})), name)


@pytest.mark.parametrize("study", PARAMETERS)
def test_a_withheld_count_is_printed_nowhere_and_no_other_number_moves(filled, study):
    results = filled(study)
    before = words(results)
    names = [name for name in quoted(results) if name.startswith(("times.", "cohort.ledger.", "log."))]
    assert len(names) > 5
    for name in names:
        if nought(results.numbers[name]):
            continue
        hidden = Number(float("nan"), "count", MASKED)
        after = words(replace(results, numbers={**results.numbers, name: hidden}))
        assert {piece.text for piece in after if piece.id == name} <= {"withheld"}
        others = [{(piece.id, piece.text) for piece in pieces if piece.id} for pieces in (before, after)]
        assert {(one, text) for one, text in others[1] if one != name} <= others[0]


def test_every_id_on_the_paper_is_stored(filled):
    for study in STUDIES:
        results = filled(study)
        known = {*cells(results), *results.numbers, *results.texts, *results.lists, "paper.date"}
        known |= {f"provenance.{name}" for name in results.provenance}
        assert quoted(results) <= known


def test_drawings_follow_their_numbers(filled):
    results = filled("demo_main")
    one = replace(results.numbers["effect.survival_if_all_trained"], value=0.914, low=0.8, high=0.96)
    content = brief_content(
        replace(results, numbers={**results.numbers, "effect.survival_if_all_trained": one}), date=DATE
    )
    assert (content.seats.lower.alive, content.seats.lower.low, content.seats.lower.high) == (91, 80, 96)
    before = brief_content(results, date=DATE)
    assert content.seats.upper == before.seats.upper
    row = replace(results.numbers["effect.rd"], value=0.2, low=-0.1, high=0.5)
    content = brief_content(replace(results, numbers={**results.numbers, "effect.rd": row}), date=DATE)
    assert (content.axis.rows[0].value, content.axis.rows[0].low, content.axis.rows[0].high) == (20, -10, 50)
    assert content.axis.rows[1:] == before.axis.rows[1:]
