"""Is a decision read as it stands, is nothing made up for a figure that is not given, and what does it leave alone?"""

from __future__ import annotations

import tomllib

import pytest

from survstats.decision.bounds import BOUNDS
from survstats.records.demo import DEMO_NAMES, demo_folder
from survstats.study.budget_inputs import UNITS, policies
from survstats.study.decision_plan import NEEDED, OPTIONAL, DecisionPlan, InputPlan, InputsPlan
from survstats.study.plan import STUDY_FILE, Study, parse_plan, read_study

RAW = (demo_folder("demo_main") / STUDY_FILE).read_text(encoding="utf-8")


def decision(text: str = RAW) -> DecisionPlan:
    found = parse_plan(text.encode()).decision
    assert found is not None
    return found


def without(*keys: str) -> str:
    """The study file of the demo without the lines that begin so."""
    return "".join(
        line for line in RAW.splitlines(True) if not line.startswith(tuple(f"{key} =" for key in keys))
    )


def test_the_demo_decision_is_read_as_it_is_written():
    plan, written = decision(), tomllib.loads(RAW)["decision"]
    assert [one.name for one in plan.policy] == [one["name"] for one in written["policy"]]
    assert [one.months for one in plan.policy] == [24, 48, 24]
    assert plan.inputs.hours_a_year == InputPlan(**written["inputs"]["hours_a_year"])
    assert plan.inputs.mishaps.hours == 200_000
    assert plan.missing == ()


def test_a_study_without_the_section_asks_for_nothing():
    assert parse_plan(RAW[: RAW.index("# what is to be decided")].encode()).decision is None


@pytest.mark.parametrize("name", NEEDED)
def test_a_figure_that_is_not_given_is_named_and_not_made_up(name):
    plan = decision(without(name))
    assert plan.missing == (name,)
    assert getattr(plan.inputs, name) is None


@pytest.mark.parametrize("name", ["people", "leavers_a_year", "cost_a_year", "deaths_averted", "overlap"])
def test_a_figure_of_a_group_or_a_spend_is_named_once(name):
    assert decision(without(name)).missing == (name,)


@pytest.mark.parametrize("name", ["courses_a_month", "overdue_now", "months_since"])
def test_what_is_told_only_where_given_is_not_missed(name):
    assert decision(without(name)).missing == ()


def test_no_figure_has_a_default():
    assert InputsPlan() == InputsPlan(**dict.fromkeys(InputsPlan.model_fields))
    needed = {name for name, field in InputPlan.model_fields.items() if field.is_required()}
    assert needed == {"value", "source", "quality"}
    assert set(InputsPlan.model_fields) == {*NEEDED, *OPTIONAL}


def test_every_given_figure_has_an_id_of_its_own_and_leads_to_its_place_in_the_file():
    written = tomllib.loads(RAW)
    told = list(decision().given())
    assert len({name for name, _, _ in told}) == len(told) > 20
    for _, path, figure in told:
        at = written
        for part in path:
            at = at[part]
        assert at["value"] == figure.value


def test_limits_and_units_are_of_figures_that_there_are():
    stems = {name.split(".")[0] for name, _, _ in decision().given()} | {*NEEDED, *OPTIONAL}
    assert set(BOUNDS) <= stems
    assert set(UNITS) <= stems


def test_policies_keep_their_order_in_years_and_in_shares_of_groups():
    plan = decision(
        RAW.replace("months = 48\n", "").replace("longest_months", "# ").replace("longest_source", "# ")
    )
    found = policies(plan)
    assert [one.interval for one in found] == [2.0, float("inf"), 2.0]
    assert found[2].covered.tolist() == [1.0, 0.0, 0.0, 0.0]
    assert found[2].spends == ("lights around the exits",)


def test_another_decision_is_another_file_and_no_other_plan_tried_on_the_records():
    study = read_study(demo_folder("demo_main"))
    other = RAW.replace("value = 20000, low = 17000", "value = 19000, low = 17000")
    again = Study(study.folder, parse_plan(other.encode()), "another")
    assert again.plan.decision != study.plan.decision
    assert again.analysis_hash == study.analysis_hash
    asked = parse_plan(RAW.replace("currency_months = 24", "currency_months = 36").encode())
    assert Study(study.folder, asked, "another").analysis_hash != study.analysis_hash


def test_every_figure_of_the_demos_is_called_invented():
    seen = 0
    for name in DEMO_NAMES:
        plan = read_study(demo_folder(name)).plan.decision
        if plan is None:
            continue
        counted = plan.inputs.mishaps
        for figure in (counted, *(one for _, _, one in plan.given())):
            assert figure.quality == "invented"
            assert "(invented)" in figure.source
            seen += 1
    assert seen > 100


def test_each_form_has_a_demo():
    plans = {name: read_study(demo_folder(name)).plan.decision for name in DEMO_NAMES}
    assert plans["demo_survivor_only"] is None
    assert plans["demo_small"].missing == ("refresher_cost",)
    assert plans["demo_main"].inputs.value_of_life is None
    assert plans["demo_separation"].inputs.value_of_life is not None
