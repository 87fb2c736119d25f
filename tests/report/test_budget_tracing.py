"""If one stored number, cell, text or list changes, do exactly its own words change in the budget paper?"""

from __future__ import annotations

import datetime
from dataclasses import replace

import pytest
from budget_samples import TABLES, with_budget
from test_annex_tracing import batches
from test_tracing import cells, changed, demand_only, nought, pieces

from survstats.report.budget.paper import budget_content
from survstats.report.content import Piece
from survstats.report.wording import guidance, sources
from survstats.study.results import StudyResults, Table

DATE = datetime.date(2026, 11, 24)
FORMS = ("recommend", "lean", "would_have_to", "inputs_missing")
#: The form with most numbers in the default run; the others take the same roads.
PARAMETERS = [FORMS[0], FORMS[2], *(pytest.param(form, marks=pytest.mark.slow) for form in FORMS[1::2])]
#: Tables that the budget paper may print; without the others the tests are quick.
KEPT = {*TABLES, "budget_inputs", "accepted"}
#: Cells by which a row is looked up or a sentence is chosen.
SOUGHT = ("interval.", ".months")


def words(results: StudyResults) -> list[Piece]:
    content = budget_content(results, date=DATE)
    assert content is not None
    return list(pieces(content))


def quoted(results: StudyResults) -> set[str]:
    return {piece.id for piece in words(results) if piece.id}


@pytest.fixture(scope="module")
def filled(demo_results):
    def fill(form: str) -> StudyResults:
        results = with_budget(demo_results["demo_main"], form)
        texts = {key: value or f"some {key}" for key, value in results.texts.items()}
        tables = {name: table for name, table in results.tables.items() if name in KEPT}
        return replace(results, texts=texts, tables=tables, lists={**results.lists, "records.banners": []})

    return fill


@pytest.mark.parametrize("form", PARAMETERS)
def test_each_number_changes_its_own_words_and_no_other(filled, form):
    results = filled(form)
    before = words(results)
    names = {name for name in quoted(results) & set(results.numbers) if not nought(results.numbers[name])}
    assert len(names) > {"recommend": 80, "lean": 80, "would_have_to": 50, "inputs_missing": 9}[form]
    differing: set[str] = set()
    for batch in batches(sorted(names)):
        some = {name: changed(results.numbers[name]) for name in batch}
        after = words(replace(results, numbers={**results.numbers, **some}))
        found = {old.id for old, new in zip(before, after, strict=True) if old.text != new.text}
        assert found == set(batch)
        differing |= found
    assert differing == names


@pytest.mark.slow
@pytest.mark.parametrize("form", FORMS)
def test_each_number_alone_changes_its_own_words(filled, form):
    results = filled(form)
    before = words(results)
    for name in sorted(quoted(results) & set(results.numbers)):
        if not nought(results.numbers[name]):
            after = words(replace(results, numbers={**results.numbers, name: changed(results.numbers[name])}))
            demand_only(before, after, name)


@pytest.mark.parametrize("form", PARAMETERS)
def test_numbers_that_are_not_quoted_change_nothing(filled, form):
    results = filled(form)
    before, names = words(results), quoted(results)
    rest = {
        name: changed(number)
        for name, number in results.numbers.items()
        if name not in names and not nought(number)
    }
    assert words(replace(results, numbers={**results.numbers, **rest})) == before


def with_cells(results: StudyResults, names: list[str]) -> StudyResults:
    """The results with other cells in these places of one table, which no rounding hides."""
    places = cells(results)
    name = places[names[0]][0]
    rows = [list(row) for row in results.tables[name].rows]
    for _, at, place in (places[one] for one in names):
        cell = rows[at][place]
        rows[at][place] = "light" if isinstance(cell, str) else 3 * cell + 5
    moved = Table(results.tables[name].columns, tuple(tuple(row) for row in rows))
    return replace(results, tables={**results.tables, name: moved})


def printed_cells(results: StudyResults) -> list[str]:
    places = cells(results)
    return [
        name
        for name in sorted(quoted(results) & set(places))
        if not (name.startswith(SOUGHT[0]) and name.endswith(SOUGHT[1]))
        and results.tables[places[name][0]].rows[places[name][1]][places[name][2]]
    ]


def test_each_column_and_each_row_of_a_table_changes_its_own_words(filled):
    results = filled("recommend")
    before, names, places = words(results), printed_cells(results), cells(results)
    tables = {name.split(".")[0] for name in names}
    assert tables >= {
        "budget_if",
        "interval",
        "whom_first",
        "evpi",
        "swings",
        "budget_groups",
    }
    heaps: dict[tuple[str, object], list[str]] = {}
    for name in names:
        heaps.setdefault((places[name][0], name.rsplit(".", 1)[1]), []).append(name)
        heaps.setdefault((places[name][0], places[name][1]), []).append(name)
    for heap in heaps.values():
        after = words(with_cells(results, heap))
        differing = {old.id for old, new in zip(before, after, strict=True) if old.text != new.text}
        assert differing == set(heap)


@pytest.mark.parametrize("form", PARAMETERS)
def test_each_text_and_list_changes_its_own_words(filled, form):
    results = filled(form)
    before, names = words(results), quoted(results)
    told = [name for name in results.texts if name in names]
    assert len(told) > 20
    after = words(replace(results, texts={**results.texts, **{name: f"other {name}" for name in told}}))
    assert {old.id for old, new in zip(before, after, strict=True) if old.text != new.text} == set(told)
    for name in ("decision.question", "decision.today", "policy.1.name", "input.people.0.source"):
        demand_only(before, words(replace(results, texts={**results.texts, name: "other words"})), name)
    for name in ("budget.rests.records", "budget.rests.given") if form != "inputs_missing" else ():
        demand_only(before, words(replace(results, lists={**results.lists, name: ["held", "hours"]})), name)


@pytest.mark.parametrize("form", FORMS)
def test_every_id_in_the_paper_is_stored(filled, form):
    results = filled(form)
    known = {*cells(results), *results.numbers, *results.texts, *results.lists, *sources(), *guidance()}
    known |= {f"provenance.{name}" for name in results.provenance} | {"paper.date"}
    assert quoted(results) <= known
