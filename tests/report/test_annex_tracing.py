"""If one stored number changes, do exactly its own words change in the annex?"""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest
from annex_samples import with_annex
from test_tracing import cells, changed, demand_only, moved, nought, pieces, with_everything

from survstats.report.annex.paper import annex_content
from survstats.report.content import Piece
from survstats.report.wording import sources
from survstats.study.results import MASKED, Number, StudyResults, Table

DATE = datetime.date(2026, 11, 24)
STUDIES = ("demo_main", "demo_small", "demo_null", "demo_survivor_only")
#: How many numbers are moved at a time where moving each alone would take long.
HEAP = 20
#: demo_main alone in the default run; the others take the same roads.
PARAMETERS = [STUDIES[0], *(pytest.param(name, marks=pytest.mark.slow) for name in STUDIES[1:])]


def words(results: StudyResults) -> list[Piece]:
    return list(pieces(annex_content(results, date=DATE)))


def quoted(results: StudyResults) -> set[str]:
    return {piece.id for piece in words(results) if piece.id}


@pytest.fixture(scope="module")
def filled(demo_results):
    def fill(name: str) -> StudyResults:
        results = with_annex(with_everything(demo_results[name]))
        texts = {key: value or f"some {key}" for key, value in results.texts.items()}
        lists = {key: value or ["role"] for key, value in results.lists.items()}
        return replace(results, texts=texts, lists={**lists, "records.banners": []})

    return fill


def test_each_heap_of_numbers_changes_its_own_words_and_no_others(filled):
    """One by one in the slow run; here in small heaps, dealt twice."""
    results = filled("demo_main")
    before = words(results)
    names = [
        name for name in sorted(quoted(results) & set(results.numbers)) if not nought(results.numbers[name])
    ]
    assert len(names) > 100
    for heap in batches(names):
        moved_together = {name: changed(results.numbers[name]) for name in heap}
        after = words(replace(results, numbers={**results.numbers, **moved_together}))
        assert len(before) == len(after)
        pairs = list(zip(before, after, strict=True))
        assert {old.id for old, new in pairs if old.text != new.text} == set(heap)
        assert not [old.id for old, new in pairs if old.id in moved_together and old.text == new.text]


@pytest.mark.slow
@pytest.mark.parametrize("study", STUDIES)
def test_each_number_changes_its_own_words_and_no_other(filled, study):
    results = filled(study)
    before = words(results)
    names = quoted(results) & set(results.numbers)
    assert len(names) > (100 if study == "demo_main" else 60)
    for name in sorted(names):
        if nought(results.numbers[name]):
            continue
        after = words(replace(results, numbers={**results.numbers, name: changed(results.numbers[name])}))
        demand_only(before, after, name)


@pytest.mark.parametrize("study", PARAMETERS)
def test_numbers_that_are_not_quoted_change_nothing(filled, study):
    results = filled(study)
    before, names = words(results), quoted(results)
    rest = {
        name: changed(number)
        for name, number in results.numbers.items()
        if name not in names and not nought(number)
    }
    assert words(replace(results, numbers={**results.numbers, **rest})) == before


def batches(names: list[str]) -> Iterator[list[str]]:
    """The names dealt into small heaps, twice: two of them lie in one heap both times only by rare chance."""
    for seed in (1, 2):
        dealt = np.random.default_rng(seed).permutation(names).tolist()
        yield from (dealt[at : at + HEAP] for at in range(0, len(dealt), HEAP))


@pytest.mark.slow
@pytest.mark.parametrize("study", STUDIES)
def test_each_limit_alone_changes_nothing_but_its_number(filled, study):
    results = filled(study)
    before = words(results)
    for part in ("value", "low", "high"):
        names = [
            name
            for name, number in results.numbers.items()
            if getattr(number, part) is not None and not nought(number)
        ]
        for batch in batches(names):
            some = {
                name: replace(number, **{part: moved(getattr(number, part), number.unit)})
                for name, number in results.numbers.items()
                if name in batch
            }
            after = words(replace(results, numbers={**results.numbers, **some}))
            differing = {old.id for old, new in zip(before, after, strict=True) if old.text != new.text}
            assert differing <= set(batch)


def other(cell):
    """Another cell of the same kind, which rounding does not hide."""
    if isinstance(cell, str):
        return "light"
    return cell + (1234 if isinstance(cell, int) or cell > 9 else 0.31)


def with_cells(results: StudyResults, names: list[str]) -> StudyResults:
    """The results with other cells in these places of one table."""
    places = cells(results)
    table = results.tables[places[names[0]][0]]
    rows = [list(row) for row in table.rows]
    for name in names:
        _, at, place = places[name]
        rows[at][place] = other(rows[at][place])
    moved_table = Table(table.columns, tuple(tuple(row) for row in rows))
    return replace(results, tables={**results.tables, places[names[0]][0]: moved_table})


def printed_cells(results: StudyResults) -> list[str]:
    """Cells that are printed and can be changed; what a row or a column is looked up by cannot."""
    places = cells(results)
    sought = (".delta_", ".sensitivity_", "egress_at.1.time_s", "egress_at.3.time_s")
    names = [
        name for name in sorted(quoted(results) & set(places)) if not any(part in name for part in sought)
    ]
    return [name for name in names if results.tables[places[name][0]].rows[places[name][1]][places[name][2]]]


def test_each_column_of_a_table_changes_its_own_words(filled):
    results = filled("demo_main")
    before, names = words(results), printed_cells(results)
    tables = {name.split(".")[0] for name in names}
    assert tables >= {"flow", "crude_shares", "recency", "modifiers", "modifier_contrasts", "era_positivity"}
    assert tables >= {"choices", "fitness", "left_out_groups", "miscoding_grid"}
    columns: dict[tuple[str, str], list[str]] = {}
    for name in names:
        columns.setdefault((name.split(".")[0], name.rsplit(".", 1)[1]), []).append(name)
    for column in columns.values():
        after = words(with_cells(results, column))
        assert len(before) == len(after)
        differing = {old.id for old, new in zip(before, after, strict=True) if old.text != new.text}
        assert differing == set(column)


@pytest.mark.slow
@pytest.mark.parametrize("study", STUDIES)
def test_each_row_of_a_table_changes_its_own_words(filled, study):
    """With the test of columns: a cell that changed another's words would do so across its row or its column."""
    results = filled(study)
    before = words(results)
    rows: dict[tuple[str, int], list[str]] = {}
    places = cells(results)
    for name in printed_cells(results):
        rows.setdefault(places[name][:2], []).append(name)
    for row in rows.values():
        after = words(with_cells(results, row))
        differing = {old.id for old, new in zip(before, after, strict=True) if old.text != new.text}
        assert differing == set(row)


def test_each_text_and_list_changes_its_own_words(filled):
    results = filled("demo_main")
    before, names = words(results), quoted(results)
    for name in [name for name in results.texts if name in names]:
        demand_only(before, words(replace(results, texts={**results.texts, name: "other words"})), name)
    lists = [name for name in results.lists if name in names]
    assert {"plan.adjusted", "graph.adjusted_nodes", "graph.unmeasured_nodes"} <= set(lists)
    for name in lists:
        instead = ["RAFT", "MISS"] if name.startswith("graph") else ["sex", "age"]
        if name == "modifiers.left_out":
            instead = ["role one_level"]
        demand_only(before, words(replace(results, lists={**results.lists, name: instead})), name)


def test_every_id_in_the_annex_is_stored(filled):
    results = filled("demo_main")
    known = {*cells(results), *results.numbers, *results.texts, *results.lists, *sources(), "paper.date"}
    known |= {f"provenance.{name}" for name in results.provenance}
    assert quoted(results) <= known


def test_a_withheld_number_is_printed_nowhere(filled):
    results = filled("demo_main")
    names = [
        name
        for name in quoted(results)
        if name.startswith(("seen.", "imputed.", "recency.", "within.", "choices.", "tipping.", "miscoding."))
    ]
    names = sorted(set(names) & set(results.numbers))
    assert len(names) > 5
    for name in names:
        hidden = Number(float("nan"), "count", MASKED)
        after = words(replace(results, numbers={**results.numbers, name: hidden}))
        assert {piece.text for piece in after if piece.id == name} <= {"withheld"}
