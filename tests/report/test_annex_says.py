"""Does the annex, and the board paper beside it, say no more than the stored numbers and codes carry?"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import replace

import pytest
from annex_samples import with_annex
from test_tracing import pieces

from survstats.report.annex.content import AnnexContent, pictures_of
from survstats.report.annex.paper import annex_content
from survstats.report.brief import brief_content
from survstats.report.content import plain
from survstats.report.fading_figure import draw_fading, fading_data
from survstats.report.graph_figure import draw_graph
from survstats.report.lettering import legible
from survstats.study.results import StudyResults, Table

DATE = datetime.date(2026, 11, 24)


@pytest.fixture(scope="module")
def results(demo_results) -> StudyResults:
    return with_annex(demo_results["demo_main"])


def annex(results: StudyResults, **changes) -> AnnexContent:
    """The annex with other codes, lists, numbers or tables, each given as a mapping."""
    return annex_content(changed(results, **changes), date=DATE)


def changed(results: StudyResults, *, without: tuple[str, ...] = (), **changes: Mapping) -> StudyResults:
    more = {kind: {**getattr(results, kind), **new} for kind, new in changes.items()}
    numbers = {**results.numbers, **more.pop("numbers", {})}
    return replace(results, numbers={k: v for k, v in numbers.items() if k not in without}, **more)


def told(content, key: str = "") -> str:
    """The words of the whole paper, or of one section of the annex."""
    part = next(each for each in content.sections if each.key == key) if key else content
    return "".join(f"{piece.text}" for piece in pieces(part)).replace("\u00a0", " ")


def cells(content: AnnexContent, key: str, title: str) -> list[list[str]]:
    section = next(each for each in content.sections if each.key == key)
    table = next(b.table for b in section.blocks if b.table and plain(b.title) == title)
    return [[plain(cell).replace("\u00a0", " ") for cell in row] for row in table.rows]


def test_free_seats_are_told_where_they_are_recorded_and_unknown_rules_as_unknown(results):
    both = told(annex(results), "graph")
    assert "chosen freely where 97 people sat" in both
    assert "41 people nobody recorded" in both
    none = {"pairs.seat_people": replace(results.numbers["pairs.seat_people"], value=0)}
    only = told(annex(results, numbers=none), "graph")
    assert "chosen freely" not in only
    assert "41 people nobody recorded" in only


def test_what_a_draw_leans_on_is_what_was_kept(results):
    section = told(annex(results), "imputation")
    assert "drawn from: who lived, the training of the others aboard and role." in section
    assert "lean as well on: how many were aboard and era." in section
    kept = {"imputed.leans_on": ["outcome"], "imputed.left_out": []}
    section = told(annex(results, lists=kept), "imputation")
    assert "drawn from: who lived." in section
    assert "lean as well on" not in section


def test_the_crew_sentence_of_the_board_paper_follows_what_is_allowed_for(results):
    after, whole = "only what works after water contact", "may also hold a gentler ditching"
    for code, there, absent in (("crew_after_contact", after, whole), ("none", whole, after)):
        r = changed(results, codes={"graph.crew": code})
        words = told(brief_content(r, date=DATE))
        assert there in words
        assert absent not in words
    alone = changed(results, codes={"graph.crew": "none"}, lists={"population.roles": ["passenger"]})
    assert whole not in told(brief_content(alone, date=DATE))


def test_ways_that_could_be_closed_stand_apart_from_those_nobody_can_close(results):
    content = annex(results)
    closable = cells(content, "graph", "Open ways that could be closed")
    never = cells(content, "graph", "Open ways that nothing recorded closes")
    assert closable[0][0] == "training ← age → survival"
    assert [row[0] for row in never] == ["training ← fitness → survival"]


def test_a_list_of_ways_that_is_cut_says_how_many_there_are(results):
    long = [("P1", "passengers", f"A < FIT > {'OUT > ' * n}Y", "no") for n in range(21)]
    table = Table(("population", "who", "path", "closable"), tuple(long))
    words = told(annex(results, tables={"open_paths": table}), "graph")
    assert "the shortest first: 16 of 21." in words
    assert "the shortest first" not in told(annex(results), "graph")


def test_a_way_over_the_gaps_in_the_records_is_explained(results):
    table = Table(("population", "who", "path", "closable"), (("P1", "passengers", "A > MISS < Y", "no"),))
    words = told(annex(results, tables={"open_paths": table}), "graph")
    assert "training → gaps in the records ← survival" in words
    assert "compared only where their training is known" in words


def test_what_is_measured_in_part_is_not_told_as_closed(results):
    words = told(annex(results), "graph")
    assert "Allowed for only in part" in words
    assert "Allowed for only in part" not in told(annex(results, lists={"graph.partly_nodes": []}), "graph")


def test_limits_that_count_people_as_independent_say_so(results):
    content = annex(results)
    assert "limits as if people were independent" in told(content, "estimate")
    assert "as if they were independent" in told(content, "between")
    assert "as if they were independent" not in told(
        annex(results, codes={"random.spread_state": "some"}), "between"
    )
    assert "no interval here counts rows" not in told(content)


def test_inside_and_between_that_cannot_be_told_apart_are_not_said_to_agree(results):
    words = told(annex(results), "between")
    assert "not told apart: their gap may lie anywhere from −1.80 to 2.18" in words
    assert "agree" not in words.replace("They do not agree", "")


def test_the_spread_of_mishaps_has_its_interval(results):
    rows = cells(annex(results), "between", "What each model says")
    assert ["Random intercept: spread", "0.93 (0.31 to 1.66)"] in [row[:2] for row in rows]


def test_no_fading_curve_is_drawn_or_read_where_the_half_life_is_refused(results):
    refused = changed(results, without=("fading.half_life",), absent={"fading.half_life": "fading_unbounded"})
    content = annex_content(refused, date=DATE)
    figure = pictures_of(content)["fading"]
    assert plain(figure.curve_text) == ""
    assert {row[0] for row in fading_data(figure)[1]} == {"limits", "band", "people"}
    assert all(row[4] is None for row in fading_data(figure)[1] if row[0] == "limits")
    with_curve = pictures_of(annex(results))["fading"]
    assert {row[0] for row in fading_data(with_curve)[1]} == {"curve", "band", "people"}
    assert draw_fading(with_curve).count('stroke-width="2.8"') > draw_fading(figure).count(
        'stroke-width="2.8"'
    )
    assert cells(content, "recency", "How fast it fades")[1] == ["12", "−3 to 21"]
    assert "curve is not drawn" not in told(content, "recency")


def test_nothing_is_said_of_a_curve_where_there_is_none(results):
    tables = {name: table for name, table in results.tables.items() if not name.startswith("fading")}
    gone = tuple(name for name in results.numbers if name.startswith("fading."))
    absent = {"fading.half_life": "too_few_dated"}
    bare = replace(changed(results, without=gone, absent=absent), tables=tables)
    words = told(annex_content(bare, date=DATE), "recency")
    assert "curve" not in words
    assert "drawn beyond" not in words
    assert "Too few courses have a date" in words


def test_overlap_is_told_as_the_range_of_chances_that_was_counted(results):
    content = annex(results)
    assert "had a chance to be trained between 5 % and 95 %" in told(content, "fit")
    assert "groups share" not in told(content) + told(brief_content(results, date=DATE))


def test_kinds_with_one_group_only_are_listed_with_their_people(results):
    content = annex(results)
    assert ["flight crew", "light", "2015 2024", "12", "0"] in cells(
        content, "graph", "Kinds with one group only"
    )
    assert "hold 46 of" in told(content, "graph")
    none = annex(results, tables={"empty_cells": Table(results.tables["empty_cells"].columns, ())})
    assert "Kinds with one group only" not in told(none)


def test_the_imputed_row_is_named_by_what_was_drawn_and_counts_the_fewest(results):
    content = annex(results)
    assert "at least 263 people are compared" in told(content, "imputation")
    row = next(
        row for row in cells(content, "estimate", "All estimates, side by side") if "imputation" in row[0]
    )
    assert row[-1] == "at least 263"
    assert "unknown training drawn" in row[1]
    nobody = {"imputed.people": replace(results.numbers["imputed.people"], value=0)}
    known = changed(results, numbers=nobody)
    words = told(annex_content(known, date=DATE))
    assert "gaps in the background drawn many times" in words
    assert "unknown training drawn" not in words
    assert "Unknown training drawn" not in told(brief_content(known, date=DATE))


def test_a_modifier_that_training_moves_says_so(results):
    assert "Training may move it" in told(annex(results), "levels")
    assert "Training may move it" not in told(
        annex(results, lists={"modifiers.moved_by_training": []}), "levels"
    )


def test_shrunken_values_are_not_praised_and_no_spread_is_said(results):
    words = told(annex(results), "levels")
    assert "better guess" not in words
    assert "Nothing beyond chance was seen" in words
    assert "Nothing beyond chance" not in told(annex(results, codes={"modifiers.spread": "some"}), "levels")


def test_a_ratio_inside_mishaps_is_not_said_to_lie_further_out(results):
    assert "Without confounding between mishaps" in told(annex(results), "within")


def test_a_band_without_an_estimate_gives_its_reason(results):
    words = told(annex(results, absent={"recency/3/difference": "few_mishaps"}), "recency")
    assert "48 and more: There are too few mishaps for it." in words


@pytest.mark.parametrize(
    ("code", "section", "there"),
    [
        ({"effect.roads": "apart"}, "estimate", "more than one standard error"),
        ({"effect.roads": "alike"}, "estimate", "less than one standard error"),
        ({"adequacy.calibration": "no_better"}, "fit", "nothing here tells its predictions apart"),
        ({"adequacy.calibration": "too_sure"}, "fit", "interval of the slope lies below one"),
        ({"adequacy.calibration": "fits"}, "fit", "leaves out nought"),
        ({"effect.one_arm_hangs": "yes"}, "estimate", "One mishap holds all the deaths"),
    ],
)
def test_a_code_is_told_in_its_section_and_only_then(results, code, section, there):
    assert there in told(annex(results, codes=code), section)
    assert there not in told(annex(results, codes=dict.fromkeys(code, "")), section)


def test_page_one_warns_where_one_mishap_decides_a_group(results):
    for code, told_so in (("yes", True), ("no", False)):
        content = brief_content(changed(results, codes={"effect.one_arm_hangs": code}), date=DATE)
        assert ("may be far too narrow" in plain(content.answer)) is told_so


def test_the_table_of_wrong_fillings_has_every_step_and_names_what_is_tilted(results):
    rows = cells(annex(results), "imputation", "If the filling-in is wrong")
    assert [row[0] for row in rows] == ["0.05", "0.14", "0.37", "1", "2.7", "7.4", "20"]
    assert "odds of being current, against every other state, lapsed included" in told(
        annex(results), "imputation"
    )


def test_people_of_unknown_training_add_up_over_the_tables(results):
    if results.numbers["unknown.perhaps"].value:
        assert "dead may have died on impact; the table above leaves them out" in told(
            annex(results), "crude"
        )
    nobody = {"unknown.perhaps": replace(results.numbers["unknown.perhaps"], value=0)}
    assert "table above leaves them out" not in told(annex(results, numbers=nobody), "crude")


def test_names_from_the_records_are_set_as_far_as_the_fonts_go():
    assert legible("\u05e9\u05dc A-1\u200f") == "?? A-1"
    assert legible("VS-001 ← Ωб") == "VS-001 ← Ωб"


def test_a_penalised_estimate_is_said_to_be_penalised(demo_results):
    for name, there in (("demo_small", True), ("demo_main", False)):
        words = told(annex_content(demo_results[name], date=DATE), "estimate")
        assert ("fit with a mishap left out is penalised" in words) is there


def test_kinds_that_are_listed_but_not_told_give_their_reason(results):
    tables = {name: table for name, table in results.tables.items() if not name.startswith("modifier")}
    for reason, there in (("one_outcome", "fared alike"), ("one_level", "people enough in both groups")):
        bare = replace(results, tables=tables, absent={**results.absent, "modifiers": reason})
        assert there in told(annex_content(bare, date=DATE), "levels")


def test_what_a_figure_is_said_to_show_follows_the_stored_numbers(results):
    alts = {name: plain(figure.alt) for name, figure in pictures_of(annex(results)).items()}
    assert "gone after 21 months (8 to 77)" in alts["fading"].replace("\u00a0", " ")
    assert "0.77 (0.31" in alts["calibration"]
    assert "do not drift" not in alts["chains"]
    graph = pictures_of(annex(results))["causes"]
    assert "list" in plain(graph.list_alt)
    assert plain(graph.list_alt) in draw_graph(graph, narrow=True)


def test_an_estimate_that_is_not_there_has_what_it_would_need_under_a_heading(demo_results):
    content = annex_content(demo_results["demo_survivor_only"], date=DATE)
    section = next(each for each in content.sections if each.key == "estimate")
    block = next(each for each in section.blocks if each.items and "from rosters" in plain(each.items[0]))
    assert plain(block.title) == "What an estimate would need"
