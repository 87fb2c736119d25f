"""Does the worksheet hold the study's own figures, its worlds and its sources, and nothing that could act or leave?"""

from __future__ import annotations

import base64
import datetime
import hashlib
import json
import re
from dataclasses import replace

import numpy as np
import pytest
from worksheet_twin import shown

from survstats.report.content import plain
from survstats.report.style import TEMPLATES
from survstats.report.wording import catalogue
from survstats.report.worksheet import drawn_worlds as packing
from survstats.report.worksheet.drawn_worlds import drawn_worlds
from survstats.report.worksheet.page import SCRIPTS, worksheet_html
from survstats.report.worksheet.paper import worksheet_content
from survstats.study.results import Number, StudyResults, Table

DATE = datetime.date(2026, 11, 24)
MOST_BYTES = 1_500_000
HOSTILE = "</script><script>alert(1)</script><!--&amp;\u2028"


@pytest.fixture(scope="module")
def results(demo_results) -> StudyResults:
    return demo_results["demo_separation"]


@pytest.fixture(scope="module")
def html(results) -> str:
    page = worksheet_html(results, date=DATE)
    assert page is not None
    return page


def given(page: str) -> dict:
    return json.loads(
        re.search(r'<script type="application/json" id="given">(.*?)</script>', page, re.DOTALL)[1]
    )


def fields(results: StudyResults) -> dict:
    content = worksheet_content(results, date=DATE)
    return {field.key: field for group in content.groups for field in group.fields}


def with_number(results: StudyResults, name: str, value: float) -> StudyResults:
    changed = replace(results.numbers[name], value=value)
    return replace(results, numbers={**results.numbers, name: changed})


@pytest.mark.parametrize("name", ["demo_survivor_only", "demo_small"])
def test_there_is_none_where_no_decision_is_asked_for_or_figures_are_missing(demo_results, name):
    assert demo_results[name].codes["budget.form"] in ("not_asked", "inputs_missing")
    assert worksheet_html(demo_results[name], date=DATE) is None


def test_it_stands_among_the_papers_only_where_it_was_made(demo_papers):
    assert "worksheet.html" in demo_papers["demo_separation"]
    assert "worksheet.html" not in demo_papers["demo_small"]


def test_its_policy_allows_its_own_script_and_nothing_else(html):
    policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]+)"', html)[1]
    allowed = dict(part.strip().split(" ", 1) for part in policy.split(";"))
    assert allowed["default-src"] == "'none'"
    assert {"base-uri", "form-action", "style-src", "script-src", "font-src"} == set(allowed) - {
        "default-src"
    }
    inside = re.findall(r"<(style|script)>(.*?)</\1>", html, re.DOTALL)
    assert [kind for kind, _ in inside] == ["style", "script"]
    for kind, text in inside:
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert allowed[f"{kind}-src"] == f"'sha256-{digest}'"


def test_it_connects_to_nothing_and_makes_no_code_from_text(html):
    script = "".join((TEMPLATES / name).read_text(encoding="utf-8") for name in SCRIPTS)
    for word in (
        "eval(",
        "Function(",
        "fetch(",
        "XMLHttp",
        "innerHTML",
        "import(",
        "localStorage",
        "http",
        ".style",
    ):
        assert word not in script, word
    assert not re.search(r'(src|href|action)="(?!#)', html)


def test_names_of_the_study_cannot_act(results):
    texts = {
        **results.texts,
        "group.0.name": HOSTILE,
        "policy.1.name": HOSTILE,
        "input.people.0.source": HOSTILE,
    }
    texts["decision.money"] = HOSTILE
    page = worksheet_html(replace(results, texts=texts), date=DATE)
    assert page.count("<script") == page.count("</script>") == 2
    assert "<!--" not in page
    assert given(page)["texts"]["decision.money"] == HOSTILE
    assert "\u2028" not in re.search(r'id="given">(.*?)</script>', page, re.DOTALL)[1]


def test_it_weighs_less_than_a_megabyte_and_a_half_with_twelve_groups_of_people(results):
    assert len(worksheet_html(many_groups(results, 12), date=DATE).encode()) < MOST_BYTES


def many_groups(results: StudyResults, wanted: int) -> StudyResults:
    """The same study with its groups repeated."""
    own = sum(f"group.{at}.name" in results.texts for at in range(20))
    texts, numbers, codes = dict(results.texts), dict(results.numbers), dict(results.codes)
    table = results.tables["worlds"]
    places = {name: at for at, name in enumerate(table.columns)}
    columns, take = list(table.columns), list(range(len(table.columns)))
    for new in range(own, wanted):
        old = new % own
        texts[f"group.{new}.name"] = f"group {new}"
        for kind in ("people", "leavers_a_year"):
            numbers[f"input.{kind}.{new}"] = numbers[f"input.{kind}.{old}"]
            texts[f"input.{kind}.{new}.source"] = texts[f"input.{kind}.{old}.source"]
            codes[f"input.{kind}.{new}.quality"] = codes[f"input.{kind}.{old}.quality"]
        for policy in range(6):
            if f"policy.{policy}.covered.{old}" in numbers:
                numbers[f"policy.{policy}.covered.{new}"] = numbers[f"policy.{policy}.covered.{old}"]
        for name in table.columns:
            start, _, rest = name.partition(f".{old}")
            if (
                start in ("at_risk", "leaving", "survival_untrained", "observed")
                and name == f"{start}.{old}{rest}"
            ):
                columns.append(f"{start}.{new}{rest}")
                take.append(places[name])
    rows = tuple(tuple(row[at] for at in take) for row in table.rows)
    tables = {**results.tables, "worlds": Table(tuple(columns), rows)}
    return replace(results, texts=texts, numbers=numbers, codes=codes, tables=tables)


def test_every_world_of_the_table_is_carried_as_it_is(results):
    table, packed = results.tables["worlds"], drawn_worlds(results)
    assert packed["size"] == len(table.rows)
    at = {name: place for place, name in enumerate(table.columns)}
    third = table.rows[2]
    assert packed["fading"][2] == third[at["fading"]]
    assert packed["groups"][1]["untrained"]["trained"][2] == third[at["survival_untrained.1.trained"]]
    assert packed["groups"][1]["observed"]["never"][2] == third[at["observed.1.never"]]
    assert packed["false_confidence"] == 0.0  # the same in every world: one number
    assert packed["recency"] == [list(row) for row in results.tables["worlds_months"].rows]


def test_of_worlds_that_weigh_too_much_the_first_are_carried(results, monkeypatch):
    monkeypatch.setattr(packing, "MOST_BYTES", 60_000)
    packed = drawn_worlds(results)
    assert 100 < packed["size"] < len(results.tables["worlds"].rows)
    assert len(json.dumps(packed)) < 66_000
    assert len(packed["fading"]) == packed["size"]


def test_an_empty_cell_of_a_world_is_a_fault_and_no_nought(results):
    table = results.tables["worlds"]
    rows = ((None, *table.rows[0][1:]), *table.rows[1:])
    with pytest.raises(ValueError, match="empty cell"):
        drawn_worlds(replace(results, tables={**results.tables, "worlds": replace(table, rows=rows)}))


@pytest.mark.parametrize("name", ["demo_main", "demo_separation"])
def test_its_worlds_tell_what_the_budget_paper_tells_within_what_fewer_draws_can_miss(demo_results, name):
    """The paper's worlds are all that were drawn, the sheet's a part of them: means may differ by Monte Carlo error."""
    results = demo_results[name]
    stored = results.tables["budget_if"]
    rows = [dict(zip(stored.columns, row, strict=True)) for row in stored.rows]
    assumed = {row["policy"]: row["lives_a_year"] for row in rows if row["points"] == pytest.approx(0.05)}
    error = np.sqrt(1 / len(results.tables["worlds"].rows))
    for policy in (1, 2):
        here = shown(results, {}, policy=policy)
        paper = results.numbers.get(f"policy.{policy}.lives_a_year")
        lives = assumed[policy] if paper is None else paper.value
        for found, told in (
            (here["lives"], lives),
            (here["extra"], results.numbers[f"policy.{policy}.extra_cost_a_year"].value),
        ):
            spread = (found.high - found.low) / 3.92
            assert abs(found.value - told) < 3.5 * error * spread


@pytest.mark.parametrize(
    ("number", "key", "scale"),
    [
        ("input.people.1", "people.1", 1),
        ("input.leavers_a_year.0", "leavers_a_year.0", 100),
        ("input.hours_a_year", "hours_a_year", 1),
        ("input.half_life_months", "half_life_months", 1),
        ("input.deaths_per_course", "deaths_per_course", 1e6),
        ("input.injuries_per_course", "injuries_per_course", 1e3),
        ("input.programme_cost_a_year", "programme_cost_a_year", 1),
        ("input.injury_cost", "injury_cost", 1),
        ("policy.1.covered.2", "covered.2", 100),
        ("policy.1.months", "months", 1),
    ],
)
def test_each_figure_of_the_study_stands_in_its_own_field_and_in_no_other(results, number, key, scale):
    before, after = fields(results), fields(with_number(results, number, 0.07))
    assert after[key].start == pytest.approx(0.07 * scale)
    assert {other for other in before if before[other].start != after[other].start} == {key}


def test_travel_and_cover_stand_in_the_money_for_both_courses(results):
    before, after = fields(results), fields(with_number(results, "input.travel_cost", 5000.0))
    more = 5000 - results.numbers["input.travel_cost"].value
    changed = {key for key in before if before[key].start != after[key].start}
    assert changed == {"first_course_cost", "refresher_cost"}
    for key in changed:
        assert after[key].start - before[key].start == pytest.approx(more)
        assert "travel 5 000" in plain(after[key].told).replace("\u00a0", " ")


def test_a_value_of_a_life_stands_there_only_if_the_study_gives_one(demo_results):
    for name, results in ((name, demo_results[name]) for name in ("demo_main", "demo_separation")):
        own = results.numbers.get("input.value_of_life")
        assert (own is None) == (name == "demo_main")
        assert fields(results)["value_of_life"].start == (own and own.value)


def test_a_gain_is_assumed_only_where_the_records_do_not_carry_one(demo_results):
    main, other = demo_results["demo_main"], demo_results["demo_separation"]
    assert main.codes["budget.form"] == "would_have_to"
    assert fields(main)["points"].start == 100 * main.numbers["plan.smallest_worthwhile"].value
    assert "points" not in fields(other)
    assert not any(name.startswith("observed") for name in main.tables["worlds"].columns)


def test_each_figure_says_who_gave_it_and_how_well_it_is_known(results):
    for key, field in fields(results).items():
        if f"input.{key}" in results.numbers:
            told = plain(field.told)
            assert results.texts[f"input.{key}.source"] in told
            assert told.endswith(f"Quality: {results.codes[f'input.{key}.quality']}.")


def test_first_course_alone_can_be_ticked_only_where_the_study_allows_it(results):
    assert "decision.longest_months" in results.numbers
    assert "no_refresher" not in fields(results)
    free = {name: number for name, number in results.numbers.items() if name != "decision.longest_months"}
    assert fields(replace(results, numbers=free))["no_refresher"].start == 0
    alone = {name: number for name, number in results.numbers.items() if name != "policy.1.months"}
    assert fields(replace(results, numbers=alone))["no_refresher"].start == 1
    assert fields(replace(results, numbers=alone))["months"].start is None


READINGS = ["recommend", "lean", "would_have_to"]


@pytest.mark.parametrize("form", READINGS)
@pytest.mark.parametrize("direction", ["benefit", "harm", "no_worthwhile_difference"])
def test_the_word_says_what_it_allows_in_every_form_and_direction(results, form, direction):
    codes = {**results.codes, "budget.form": form, "budget.direction": direction}
    told = plain(worksheet_content(replace(results, codes=codes), date=DATE).lets_say)
    assert told
    assert ("loss" in told) == (direction == "harm" and form != "would_have_to")
    assert ("do not carry" in told) == (form == "would_have_to")


@pytest.mark.parametrize("form", READINGS)
def test_each_line_on_lives_states_on_what_it_hangs(results, form):
    for direction in ("benefit", "no_worthwhile_difference"):
        codes = {**results.codes, "budget.form": form, "budget.direction": direction}
        lines = worksheet_content(replace(results, codes=codes), date=DATE).lines
        notes = {line.key: plain(line.note) for line in lines}
        for key in ("lives", "cost_per_life", "chance", "worth"):
            lean = form == "lean" and direction == "benefit"
            assert notes[key].startswith("If training is why") == lean
            assert notes[key].startswith("Only if the gain you assume is right") == (form == "would_have_to")
        assert "If" not in notes["cost"]


def test_no_false_confidence_given_is_said(results):
    cautions = [plain(caution) for caution in worksheet_content(results, date=DATE).cautions]
    assert any("false confidence" in caution for caution in cautions)
    lost = {**results.numbers, "input.false_confidence": Number(0.01, "share", "study_file")}
    cautions = [
        plain(caution) for caution in worksheet_content(replace(results, numbers=lost), date=DATE).cautions
    ]
    assert not any("false confidence" in caution for caution in cautions)


def test_script_has_every_form_that_its_sentences_ask_for(html):
    script = (TEMPLATES / "worksheet_page.js").read_text(encoding="utf-8")
    known = set(
        re.findall(
            r"^  (\w+)(?::|,$)", re.search(r"const FORMS = \{(.*?)\n\};", script, re.DOTALL)[1], re.MULTILINE
        )
    )
    asked = {
        form for text in given(html)["sentences"].values() for form in re.findall(r"\|([a-z_]+)\}", text)
    }
    assert asked <= known
    said = set(re.findall(r'say\("([a-z_.]+)"', script))
    assert said <= set(given(html)["sentences"])


def test_no_sentence_of_the_script_is_left_unused():
    script = (TEMPLATES / "worksheet_page.js").read_text(encoding="utf-8")
    told = catalogue("en")["worksheet"]["script"]
    by_rule = {"bought", "freed", "cheaper", "dearer", "same", "no_upper_bought", "no_upper_freed"}
    for key in (
        {*told, *(f"wrong.{key}" for key in told["wrong"])}
        - by_rule
        - {"wrong", "wrong.most", "wrong.longest"}
    ):
        assert f'"{key}"' in script, key


def test_sentences_of_the_page_stay_short():
    words = [
        len(sentence.split())
        for part in ("caution", "lets_say")
        for text in catalogue("en")["worksheet"][part].values()
        for sentence in re.split(r"(?<=\.) ", text)
    ]
    assert sum(words) / len(words) <= 20


def test_no_field_refuses_what_the_study_file_allows(results):
    allowed = {row[0]: row[1:] for row in results.tables["budget_bounds"].rows}
    seen = set()
    for key, field in fields(results).items():
        stem = key.partition(".")[0]
        if field.kind != "number" or stem in ("points", "months"):
            continue
        least, most, above = allowed.get(stem, allowed["other"])
        parts = 3 if stem in ("first_course_cost", "refresher_cost") else 1  # fee, travel and cover
        assert field.least == pytest.approx(field.scale * parts * least)
        assert field.most == pytest.approx(field.scale * parts * most)
        assert field.above == bool(above)
        seen.add(stem)
    assert {"half_life_months", "people", "injuries_per_course", "value_of_life", "injury_cost"} <= seen


@pytest.mark.parametrize(
    ("name", "value"), [("programme_cost_a_year", 9e14), ("hours_a_year", 0.5), ("half_life_months", 0.5)]
)
def test_the_studys_own_figure_may_stand_in_its_field(results, name, value):
    field = fields(with_number(results, f"input.{name}", value))[name]
    assert field.least <= field.start <= field.most
    assert field.start > field.least or not field.above
