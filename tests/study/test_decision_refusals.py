"""Is a decision that cannot be meant refused in one sentence, with its line and what to write?"""

from __future__ import annotations

import pytest

from survstats.decision.bounds import bounds_of
from survstats.groundwork.errors import StudyFileError
from survstats.records.demo import demo_folder
from survstats.study.decision_figures import refuse_figure
from survstats.study.plan import STUDY_FILE, parse_plan

RAW = (demo_folder("demo_separation") / STUDY_FILE).read_text(encoding="utf-8")
REAR = '[[decision.group]]\nname = "passengers in the rear"\nroles = ["passenger"]\nzone = "rear"\n'
HOURS = "hours_a_year = {value = 20000, low = 17000, high = 23000, shape = "
COST = "first_course_cost = {value = 1100, "
#: What stands in the demo's file, what is written instead, the code, and what the sentence must name.
FAULTS = {
    "today is no policy": (
        'today = "every second',
        'today = "evry second',
        "unknown_policy",
        ["did you mean"],
    ),
    "an unknown group": (
        "trained = {crew = 1}",
        "trained = {crow = 1}",
        "unknown_group",
        ["'crow'", "'crew'"],
    ),
    "an unknown spend": (
        'spends = ["lights a',
        'spends = ["light a',
        "unknown_spend",
        ["'lights around the exits'"],
    ),
    "a spend twice": (
        'spends = ["lights around the exits"]',
        'spends = ["lights around the exits", "lights around the exits"]',
        "spend_twice",
        ["twice"],
    ),
    "a share over one": ("crew = 1}", "crew = 1.5}", "less_than_equal", ["at most 1"]),
    "per cent for a share": ("crew = 1}", "crew = 90}", "less_than_equal", ["0.9 for 90 %"]),
    "a share below nothing": ("crew = 1}", "crew = -0.1}", "greater_than_equal", ["-0.1"]),
    "people counted twice": ('zone = "rear"\n', "", "people_twice", ["passengers in the rear", "apart"]),
    "the same zone twice": (
        'zone = "rear"',
        'zone = "front"',
        "people_twice",
        ["the same people (passenger)"],
    ),
    "a zone of no cabin": ('zone = "rear"', 'zone = "reer"', "unknown_zone", ["Did you mean 'rear'"]),
    "a zone without a cabin": (
        'zone = "rear"',
        'zone = "rear"\nclasses = ["D_airship"]',
        "no_cabin",
        ["[cabin.CLASS]"],
    ),
    "longest without source": (
        "longest_source",
        "# longest_source",
        "no_longest_source",
        ["longest_source = "],
    ),
    "source without longest": (
        "longest_months",
        "# longest_months",
        "no_longest_months",
        ["longest_months = "],
    ),
    "longer than allowed": ("months = 48\n", "months = 49\n", "too_long", ["at most 48 months", "transport"]),
    "no refresher where one is due": ("months = 48\n", "", "no_refresher", ["at most 48 months"]),
    "one rate": ("[3, 7]", "[3]", "too_short", ["at least 2 entries"]),
    "three rates": ("[3, 7]", "[3, 5, 7]", "too_long", ["at most 2 entries"]),
    "a rate below nothing": ("[3, 7]", "[-3, 7]", "greater_than_equal", ["at least 0"]),
    "the same rate": ("[3, 7]", "[3, 3.0]", "same_rates", ["both rates"]),
    "a policy's name twice": (
        'name = "every fourth',
        'name = "every second',
        "name_twice",
        ["every second year"],
    ),
    "a group's name twice": ('name = "passengers in front"', 'name = "crew"', "name_twice", ["'crew'"]),
    "seven policies": (
        '[[decision.group]]\nname = "crew"',
        "".join(f'[[decision.policy]]\nname = "p{at}"\nmonths = 12\n' for at in range(4))
        + '[[decision.group]]\nname = "crew"',
        "too_long",
        ["at most 6"],
    ),
    "an empty source": (
        'source = "staff list (invented)"',
        'source = " "',
        "string_too_short",
        ["some text"],
    ),
    "no source": ('source = "staff list (invented)", ', "", "missing", ["source"]),
    "an unknown quality": (
        'source = "staff list (invented)", quality = "invented"',
        'source = "staff list", quality = "good"',
        "literal_error",
        ["'measured'"],
    ),
    "a shape without limits": (
        HOURS,
        "hours_a_year = {value = 20000, shape = ",
        "needs_limits",
        ["low and high"],
    ),
    "limits without a shape": (COST, f"{COST}low = 900, high = 1200, ", "limits_of_known", ["shape"]),
    "one limit without a shape": (COST, f"{COST}low = 900, ", "limits_of_known", ["shape"]),
    "limits that cross": (HOURS, HOURS.replace("17000", "24000"), "value_outside", ["in order"]),
    "a value outside": (HOURS, HOURS.replace("20000", "30000"), "value_outside", ["in order"]),
    "a value as text": (COST, 'first_course_cost = {value = "1100", ', "float_type", ["a number"]),
    "a value that is none": (COST, "first_course_cost = {value = nan, ", "finite_number", ["finite"]),
    "money below nothing": (COST, "first_course_cost = {value = -1, ", "outside_bounds", ["at least 0"]),
    "more money than there is": (
        COST,
        "first_course_cost = {value = 1e300, ",
        "less_than_equal",
        ["at most 1e+15"],
    ),
    "no hours": ("hours = 200000", "hours = 0", "greater_than", ["greater than 0"]),
    "half a mishap": ("{value = 3, hours", "{value = 3.5, hours", "int_type", ["whole number"]),
    "a figure without its source": (
        'first_course_cost = {value = 1100, source = "price list of the school (invented)", quality = "invented"}',
        "first_course_cost = 1100",
        "model_type",
        ['Write first_course_cost = {value = 1100, source = "...", quality = "measured"}'],
    ),
    "a mark between thousands": (
        COST,
        COST.replace("1100", "1,100"),
        "not_toml",
        ["decimal point", "thousands"],
    ),
    "no hours said": (", hours = 200000", "", "missing", ["Add it: hours = ..."]),
    "a part of a month": ("months = 24\n", "months = 7.5\n", "part_of_month", ["months = 7 or months = 8"]),
    "a part of a month at most": (
        "longest_months = 48",
        "longest_months = 48.5",
        "part_of_month",
        ["longest_months = 48 or"],
    ),
    "no month at all": (
        "months = 24\n",
        "months = 0.5\n",
        "greater_than_equal",
        ["at least 1", "at most 600"],
    ),
    "half a person": ("{value = 260, ", "{value = 260.5, ", "not_whole", ["'people' is 260.5", "whole"]),
    "a limit that a beta loses": (
        "{value = 0.06, low = 0.01, high = 0.15",
        "{value = 0.06, low = 0.05, high = 0.9",
        "limits_unmet",
        ["beta"],
    ),
    "an option that cannot be set": (
        'name = "every fourth',
        'name = "北海 every fourth',
        "letter_not_set",
        ["'北'", "Latin"],
    ),
    "a group that cannot be set": ('name = "crew"\n', 'name = "cr☃w"\n', "letter_not_set", ["'☃'"]),
    "a half-life of none": (
        "{value = 24, low = 10,",
        "{value = 24, low = 0,",
        "outside_bounds",
        ["at least 0.5"],
    ),
    "more averted than all": (
        "{value = 0.06, low = 0.01, high = 0.15",
        "{value = 0.06, low = 0.01, high = 1.5",
        "outside_bounds",
        ["from 0 to 1"],
    ),
    "a key that is not known": (
        "injury_cost =",
        "injury_costs =",
        "extra_forbidden",
        ["Did you mean 'injury_cost'"],
    ),
    "people with limits": (
        "{value = 260, ",
        '{value = 260, low = 200, high = 300, shape = "normal", ',
        "must_be_known",
        ["count"],
    ),
    "a value of a life with limits": (
        "value_of_life = {value = 5000000, ",
        'value_of_life = {value = 5000000, low = 3000000, high = 8000000, shape = "lognormal", ',
        "must_be_known",
        ["at one value", "what other values do"],
    ),
    "places with limits": (
        "{value = 95, ",
        '{value = 95, low = 80, high = 110, shape = "uniform", ',
        "must_be_known",
        ["'courses_a_month'", "one value"],
    ),
    "people overdue with limits": (
        '{value = 120, source = "training',
        '{value = 120, low = 100, high = 140, shape = "normal", source = "training',
        "must_be_known",
        ["'overdue_now'", "count"],
    ),
    "months since with limits": (
        "months_since = {value = 13, ",
        'months_since = {value = 13, low = 9, high = 17, shape = "normal", ',
        "must_be_known",
        ["'months_since'", "one value"],
    ),
    "years as text": ("years = 10", 'years = "ten"', "int_type", ["a whole number"]),
    "too few draws": ("draws = 20000", "draws = 100", "greater_than_equal", ["2000"]),
    "levels of the matrix that rise": (
        "[decision.inputs]",
        "[decision.matrix]\nat_least = {C = 0.5}\n\n[decision.inputs]",
        "levels_not_in_order",
        ["A begin highest"],
    ),
    "a level of the matrix that there is not": (
        "[decision.inputs]",
        '[decision.matrix]\ncells = {F = "low"}\n\n[decision.inputs]',
        "literal_error",
        ["'A'"],
    ),
    "a name with a break of lines": (
        'name = "crew"\nroles',
        'name = "cr\\new"\nroles',
        "string_pattern_mismatch",
        ["one line"],
    ),
}


def refused(text: str) -> StudyFileError:
    with pytest.raises(StudyFileError) as caught:
        parse_plan(text.encode())
    return caught.value


@pytest.mark.parametrize("fault", FAULTS)
def test_it_is_refused_with_its_line_and_what_to_write(fault):
    old, new, reason, told = FAULTS[fault]
    start = RAW.index("[decision]")
    at = RAW.index(old, start)
    found = refused(RAW[:at] + new + RAW[at + len(old) :])
    assert found.reason == reason
    assert str(found).startswith(f"study.toml, line {found.line}:")
    assert "\n" not in str(found)
    assert found.remedy.endswith((".", "?"))
    for part in told:
        assert part.lower() in str(found).lower(), str(found)
    assert found.line > RAW[:start].count("\n")


def test_the_line_is_that_of_the_entry_at_fault():
    line = RAW[: RAW.index("leavers_a_year = {value = 0.1")].count("\n") + 1
    assert refused(RAW.replace("value = 0.1, low = 0.06", "value = 0.1, low = 0.6")).line == line
    line = RAW[: RAW.index('zone = "rear"')].count("\n") + 1
    assert refused(RAW.replace('zone = "rear"', 'zone = "stern"')).line == line


def test_groups_that_roles_or_classes_keep_apart_are_let_stand():
    text = RAW.replace('zone = "front"  # a zone of [cabin.CLASS]', 'classes = ["A_twin_2c8p"]')
    text = text.replace('zone = "middle"\n', 'classes = ["B_light_1c4p"]\n')
    text = text.replace('zone = "rear"\n', 'classes = ["C_heavy_3c16p"]\nzone = "rear"\n')
    assert parse_plan(text.encode()).decision is not None


def test_a_policy_that_trains_nobody_may_name_no_interval():
    text = RAW.replace("months = 24\ntrained = {crew = 1}  # a", "trained = {}  # a")
    assert parse_plan(text.encode()).decision.policy[2].months is None


def test_a_figure_is_checked_in_the_words_of_the_study_file():
    told = str(refused(RAW.replace("low = 0.05, high = 0.45", "low = 0.19, high = 0.9")))
    assert "'overlap'" in told
    assert "beta" in told


def test_a_single_policy_is_asked_for_with_two_brackets():
    before, _, rest = RAW.partition("[[decision.policy]]")
    groups = rest.partition("[[decision.group]]")[2]
    text = f'{before}[decision.policy]\nname = "every year"\n\n[[decision.group]]{groups}'
    assert "[[decision.policy]]" in refused(text).remedy


def test_every_figure_is_held_to_its_limits():
    plan = parse_plan(RAW.encode()).decision
    for name, _, figure in plan.given():
        stem, limits = name.split(".")[0], bounds_of(name)
        for wrong in (limits.least - 1e-6, limits.most * (1 + 1e-6)):
            with pytest.raises(StudyFileError, match=f"'{stem}'") as caught:
                refuse_figure(name, figure.model_copy(update={"value": wrong}))
            assert caught.value.reason == "outside_bounds"
