"""Is the decision told as far as the word lets it be, does each number rest on people, and do the sums hold?"""

from __future__ import annotations

import math
import shutil
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import gamma
from thin import read_tables, write_tables

from survstats.decision.worth import discount_factor
from survstats.records.demo import DEMO_NAMES, demo_folder
from survstats.records.invented.decision_text import decision_text
from survstats.study.budget_told import IDS, LIVES_IDS, store_budget
from survstats.study.budget_worlds import members
from survstats.study.counting import COMPARED
from survstats.study.decision_plan import GroupPlan
from survstats.study.estimating import store_main
from survstats.study.everybody import everybody
from survstats.study.plan import parse_plan, read_study
from survstats.study.results import MASKED
from survstats.study.results_builder import ResultsBuilder
from survstats.study.run import run
from survstats.study.steps import read_records

FORMS = {
    "demo_main": "would_have_to",
    "demo_null": "would_have_to",
    "demo_harm": "would_have_to",
    "demo_separation": "lean",
    "demo_small": "inputs_missing",
    "demo_survivor_only": "not_asked",
}


def table(results, name: str) -> pd.DataFrame:
    found = results.tables[name]
    return pd.DataFrame(found.rows, columns=list(found.columns))


@pytest.fixture(scope="module", params=DEMO_NAMES)
def results(request, demo_results):
    return demo_results[request.param]


@pytest.fixture(scope="module")
def carried(demo_results):
    return demo_results["demo_separation"]


@pytest.fixture(scope="module")
def assumed(demo_results):
    return demo_results["demo_main"]


def ours(results) -> dict:
    heads = ("budget.", "policy.", "exposure.", "decision.", "input.")
    return {name: number for name, number in results.numbers.items() if name.startswith(heads)}


def test_every_demo_has_the_form_its_word_and_its_file_allow(demo_results):
    assert {name: demo_results[name].codes["budget.form"] for name in DEMO_NAMES} == FORMS


def test_everything_is_there_or_has_a_reason(results):
    for one in IDS:
        assert (one in results.numbers or one in results.tables) != (one in results.absent), one
    for name, number in ours(results).items():
        assert math.isfinite(number.value), name
        if number.low is not None and number.method != "study_file":
            assert number.low <= number.value <= number.high, name
        if number.unit == "share":
            assert 0 <= number.value <= 1, name


def test_what_is_told_of_people_rests_on_counts_of_people(results):
    rest = {name for name in ours(results) if name in results.rests_on}
    for name in rest:
        assert set(results.rests_on[name]) <= set(results.people), name
    for name, number in ours(results).items():
        if number.method in ("plausible_worlds", "ratio_of_expectations"):
            assert name in rest or name.startswith("exposure."), name
        elif number.method in ("study_file", "given_figures"):
            assert name not in rest, name


def test_where_the_records_cannot_tell_nothing_is_told_from_their_estimate(assumed):
    for one in LIVES_IDS:
        assert assumed.absent[one] == "cannot_tell", one
    for name in assumed.numbers:
        assert ".lives_" not in name, name
        assert not name.endswith(("cost_per_life", "freed_per_life", "chance_best")), name
    assert "policy.best" not in assumed.codes
    assert not any(column.startswith("observed") for column in assumed.tables["worlds"].columns)
    assert "gain" not in set(table(assumed, "swings")["input"])
    for name in ("budget_if", "swings", "policy.1.break_even_value"):
        assert not set(assumed.rests_on[name]) & set(COMPARED), name


def first_day(observed: float, untrained: float, still: np.ndarray, people: np.ndarray) -> float:
    """The gain which, faded and cut for each of the records' people, comes to what was observed; by halving."""

    def shown(gain: float) -> float:
        return float(np.clip(gain * still, -untrained, 1 - untrained) @ people) / people.sum()

    plain = observed * people.sum() / float(still @ people)
    if -untrained <= plain * still.max() <= 1 - untrained:
        return plain
    room = 1 - untrained if observed > 0 else untrained
    low, high = sorted((0.0, math.copysign(room / still.min(), observed)))  # more would change nobody further
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if shown(middle) < observed else (low, middle)
    return high if observed > 0 else low


def held_one_by_one(gain: float, untrained: float, interval: float, fading: float, leaving: float) -> float:
    """The mean over 2,000 people of a settled staff, cut one by one."""
    years = interval * (np.arange(2000) + 0.5) / 2000
    there = np.exp(-leaving * years)
    each = np.clip(gain * np.exp(-fading * years), -untrained, 1 - untrained)
    return float(each @ there / there.sum())


def by_hand(results, covered: list[list[float]], intervals: list[float]) -> np.ndarray:
    """Lives a year of the second policy against the first, world by world, from the table of worlds alone.

    Written out from the rules of the decision: kept people are told by the trained, new ones by the untrained.
    """
    worlds, months = table(results, "worlds"), table(results, "worlds_months")
    people = [results.numbers[f"input.people.{at}"].value for at in range(4)]
    added_lives = []
    for _, world in worlds.iterrows():
        still = np.exp(-world["fading"] * months["months"].to_numpy() / 12)
        found = 0.0
        for at, many in enumerate(people):
            tau, fading = world[f"leaving.{at}"], world["fading"]
            before, after = covered[0][at], covered[1][at]
            alone = {kind: world[f"survival_untrained.{at}.{kind}"] for kind in ("never", "trained")}
            holds = {
                kind: [
                    held_one_by_one(
                        first_day(world[f"observed.{at}.{kind}"], lives, still, months["people"].to_numpy()),
                        *(lives, r, fading, tau),
                    )
                    for r in intervals
                ]
                for kind, lives in alone.items()
            }
            kept, added, dropped = min(before, after), max(after - before, 0), max(before - after, 0)
            each = kept * (holds["trained"][1] - holds["trained"][0])
            each += added * holds["never"][1] - dropped * holds["trained"][0]
            found += world["mishaps_a_year"] * world[f"at_risk.{at}"] * each
            courses = [tau / (1 - math.exp(-tau * r)) for r in intervals]
            found -= world["deaths_per_course"] * many * (after * courses[1] - before * courses[0])
        added_lives.append(found)
    return np.array(added_lives)


def test_lives_agree_with_sums_by_hand_over_the_stored_worlds(asking):
    """With as many draws as are kept the table holds every world, so that sums by hand give the same digits."""
    text = (asking / "study.toml").read_text(encoding="utf-8")
    wider = '"passengers in front" = 0.5, "passengers in the middle" = 1, "passengers in the rear" = 0.9}'
    at = text.index("\nmonths = 48")
    text = text[:at] + text[at:].replace(text[at:].split("crew = 1, ")[1].split("\n")[0], wider, 1)
    (asking / "study.toml").write_text(text, encoding="utf-8")
    out = told_of(asking, word="supports")
    covered = [[out.numbers[f"policy.{at}.covered.{k}"].value for k in range(4)] for at in (0, 1)]
    assert covered[1] == [1, 0.5, 1, 0.9]
    intervals = [out.numbers[f"policy.{at}.months"].value / 12 for at in (0, 1)]
    lives = by_hand(out, covered, intervals)
    told = out.numbers["policy.1.lives_a_year"]
    assert lives.mean() == pytest.approx(told.value, rel=1e-4)
    assert np.quantile(lives, [0.025, 0.975]) == pytest.approx([told.low, told.high], rel=1e-4)
    assert (lives < 0).mean() == pytest.approx(out.numbers["policy.1.chance_lives_lost"].value)


def test_money_for_a_life_is_the_ratio_of_what_is_expected(carried):
    for at in (1, 2):
        cost = carried.numbers[f"policy.{at}.extra_cost_a_year"].value
        lives = carried.numbers[f"policy.{at}.lives_a_year"].value
        assert carried.codes[f"policy.{at}.trade"] == "freed"
        assert carried.numbers[f"policy.{at}.freed_per_life"].value == pytest.approx(cost / lives)
        assert f"policy.{at}.cost_per_life" in carried.absent
        even = carried.numbers[f"policy.{at}.break_even_value"].value
        assert even == pytest.approx(cost / lives)
    lives = carried.numbers["budget.lives_per_year"].value
    assert carried.numbers["budget.years_per_life"].value == pytest.approx(1 / lives)


def test_lives_and_money_are_discounted_alike_at_both_rates(carried):
    for at in (1, 2):
        for place, rate in enumerate((0.03, 0.07)):
            factor = discount_factor(rate, 10)
            for name, total in (
                ("extra_cost_a_year", "cost_discounted"),
                ("lives_a_year", "lives_discounted"),
            ):
                once = carried.numbers[f"policy.{at}.{name}"].value
                told = carried.numbers[f"policy.{at}.{total}.{place}"].value
                assert told == pytest.approx(factor * once)


def test_fewer_lives_are_shown_and_not_cut(carried):
    told = carried.numbers["policy.1.lives_a_year"]
    assert told.low < told.value < told.high < 0


def test_no_more_lives_are_gained_than_are_lost_without_training(carried):
    lives, dead = (carried.numbers[f"budget.{name}"].value for name in ("lives_per_year", "deaths_a_year"))
    at_risk = carried.numbers["budget.at_risk"].value * carried.numbers["exposure.mishaps_a_year"].value
    assert lives + dead <= at_risk


def test_the_choice_is_made_at_the_value_that_is_given_and_at_no_other(carried, assumed):
    chances = [carried.numbers[f"policy.{at}.chance_best"].value for at in range(3)]
    assert sum(chances) == pytest.approx(1)
    value = carried.numbers["input.value_of_life"].value
    worth = [0.0] + [
        value * carried.numbers[f"policy.{at}.lives_a_year"].value
        - carried.numbers[f"policy.{at}.extra_cost_a_year"].value
        for at in (1, 2)
    ]
    assert int(carried.codes["policy.best"]) == int(np.argmax(worth))
    assert "budget.value_of_life" not in assumed.numbers
    for at in (1, 2):
        assert assumed.absent[f"policy.{at}.break_even_points"] == "no_value_of_life"


def test_tables_by_option_name_the_option_beside_its_place(results):
    for name in ("budget_if", "swings", "pool", "acceptability", "matrix_policies"):
        if name in results.tables:
            for at, told in zip(table(results, name)["policy"], table(results, name)["name"], strict=True):
                assert told == results.texts[f"policy.{at}.name"], name


def test_the_grid_of_values_begins_at_nothing_and_chances_add_up(carried):
    grid = table(carried, "acceptability")
    assert grid["value_of_life"].min() == 0
    assert grid["value_of_life"].max() >= carried.numbers["input.value_of_life"].value
    assert grid.groupby("value_of_life")["chance"].sum().to_numpy() == pytest.approx(np.ones(41))
    assert (table(carried, "evpi")["evpi"] >= 0).all()


def test_what_would_have_to_be_true_grows_with_the_difference_and_is_harm_alone_without_one(results):
    if "budget_if" not in results.tables:
        return
    found = table(results, "budget_if")
    for at, rows in found.groupby("policy"):
        sign = 1 if at == 0 else -1
        assert (np.diff(sign * rows["lives_a_year"]) > 0).all()
    own = found[found["policy"] == 0].set_index("points")
    deaths = results.numbers["policy.0.training_deaths_a_year"].value
    assert own.loc[0.0, "lives_a_year"] == pytest.approx(-deaths)
    assert own.loc[0.0, "form"] == "worse_and_dearer"


def test_harm_is_told_beside_gain_and_the_estimate_where_it_lies_beyond(carried, assumed):
    multiples = [-0.05, 0, 0.05, 0.1, 0.15]
    for results, extra in ((assumed, []), (carried, [carried.numbers["effect.rd"].value])):
        found = table(results, "budget_if")
        for _, rows in found.groupby("policy"):
            assert rows["points"].tolist() == pytest.approx([*multiples, *extra])
            assert (rows["points_from"] == "estimate").tolist() == [False] * 5 + [True] * len(extra)
        lost = found[(found["points"] == -0.05) & (found["policy"] == 0)].iloc[0]
        assert lost["lives_a_year"] < 0
        assert lost["form"] == "worse_and_dearer"
    assert extra[0] > 0.15


def test_it_is_said_where_the_effect_was_cut_back_in_many_worlds(results):
    cut = results.numbers.get("budget.capped")
    said = results.codes.get("budget.cut_back")
    assert said == (None if cut is None else "often" if cut.value > 0.1 else "seldom")


def test_the_worlds_are_kept_in_plain_numbers(results):
    if "worlds" not in results.tables:
        return
    worlds = table(results, "worlds")
    assert len(worlds) == 2000
    assert np.isfinite(worlds.to_numpy(float)).all()
    at_risk = worlds[[f"at_risk.{at}" for at in range(4)]].sum(axis=1)
    told = results.numbers["budget.at_risk"]
    assert at_risk.mean() == pytest.approx(told.value, abs=4 * at_risk.std() / math.sqrt(2000))


def test_everybody_aboard_stands_in_one_group_or_is_counted(results):
    if "budget_groups" not in results.tables:
        return
    aboard = table(results, "budget_groups")["aboard"].sum()
    whole = results.numbers["all_aboard.population"].value
    assert aboard + results.numbers["budget.no_group"].value == whole


def test_whose_gain_is_borrowed_is_said(carried):
    groups = table(carried, "budget_groups").set_index("name")
    few = groups[(groups["trained"] < 10) | (groups["untrained"] < 10)]
    assert len(few)
    assert (few["borrowed"] != "none").all()
    assert (groups[(groups["trained"] >= 10) & (groups["untrained"] >= 10)]["borrowed"] == "none").all()


def test_a_missing_figure_leaves_every_other_told_and_nothing_worked_out(demo_results):
    small = demo_results["demo_small"]
    assert small.lists["budget.missing"] == ["refresher_cost"]
    assert small.numbers["input.first_course_cost"].value == 1100
    assert not any(number.method == "plausible_worlds" for number in small.numbers.values())
    assert {small.absent[one] for one in IDS} == {"inputs_missing"}


def test_each_figure_says_how_large_how_sure_and_who_says_so(assumed):
    figures = table(assumed, "budget_inputs")
    assert len(figures) == 28
    assert (figures["source"].str.len() > 0).all()
    for _, line in figures.iterrows():
        assert assumed.texts[f"input.{line['name']}.source"] == line["source"]
        assert assumed.codes[f"input.{line['name']}.quality"] == line["quality"]
        assert assumed.numbers[f"input.{line['name']}"].unit == line["unit"]


@pytest.mark.slow
def test_nothing_of_the_decision_leaves_the_house():
    shared = run(read_study(demo_folder("demo_separation")), audience="sharing", keep_log=False)
    assert shared.codes["budget.form"] == MASKED
    assert {shared.absent[one] for one in IDS} == {MASKED}
    held = (*shared.numbers, *shared.texts, *shared.lists, *shared.tables, *shared.codes)
    heads = ("policy.", "decision.", "group.", "spend.", "input.", "exposure.", "interval.", "whom.", "pool.")
    assert not [name for name in held if name.startswith((*heads, "worlds", "matrix"))]


def told_of(folder, *, word: str = "cannot_tell", modelled: bool = True, audience="board") -> ResultsBuilder:
    """What is stored on the decision of a study alone, had its verdict been this word."""
    study = read_study(folder)
    people = everybody(study, read_records(study))
    out = ResultsBuilder()
    main = None
    if modelled:
        main = store_main(out, people.primary.analysed, study.covariates, whole=False)
    else:
        out.absent["effect.rd"] = "few_mishaps"
    verdict = SimpleNamespace(word=word, direction="benefit")
    found = SimpleNamespace(main=main, verdict=verdict)
    store_budget(out, study, people, found, audience=audience)
    return out


@pytest.fixture
def asking(tmp_path):
    """A small study that asks for a decision, with few draws."""
    folder = tmp_path / "study"
    shutil.copytree(demo_folder("demo_small"), folder)
    text = (folder / "study.toml").read_text(encoding="utf-8")
    text = text[: text.index("\n# what is to be decided")]
    added = decision_text(refresher=True, value=True).replace("draws = 20000", "draws = 2000")
    (folder / "study.toml").write_text(text + added, encoding="utf-8")
    return folder


@pytest.mark.parametrize(
    ("word", "form"), [("cannot_tell", "would_have_to"), ("suggests", "lean"), ("supports", "recommend")]
)
def test_the_word_decides_how_far_it_is_told(asking, word, form):
    out = told_of(asking, word=word)
    assert out.codes["budget.form"] == form
    assert ("budget.lives_per_year" in out.numbers) == (word != "cannot_tell")
    assert ("policy.best" in out.codes) == (word != "cannot_tell")


def test_exposure_is_that_of_three_mishaps_in_200000_hours(asking):
    """None in a year: (200 / 220)^3.5, worked out by hand, and the golden value; limits by scipy's gamma."""
    out = told_of(asking)
    assert out.numbers["exposure.none_in_a_year"].value == pytest.approx(0.71635055, abs=1e-8)
    assert out.numbers["exposure.none_in_a_year"].value == pytest.approx((200 / 220) ** 3.5)
    rate = out.numbers["exposure.rate"]
    assert rate.value * 20_000 == pytest.approx(0.35)
    assert [rate.low, rate.high] == pytest.approx(gamma.ppf([0.025, 0.975], 3.5, scale=1 / 200_000))
    assert [rate.low, rate.high] == pytest.approx([4.2247e-6, 4.0032e-5], rel=2e-5)
    told = out.numbers["exposure.mishaps_a_year"]
    assert told.value == pytest.approx(0.35, abs=0.02)
    assert out.numbers["exposure.years_between"].value == pytest.approx(1 / told.value)


def test_for_sharing_nothing_is_made(asking):
    out = told_of(asking, word="supports", audience="sharing")
    assert {out.absent[one] for one in IDS} == {MASKED}
    assert not [name for name in (*out.numbers, *out.tables, *out.texts) if not name.startswith("effect.")]


def test_without_a_model_it_is_told_what_would_have_to_be_true(asking):
    out = told_of(asking, word="suggests", modelled=False)
    assert out.codes["budget.form"] == "would_have_to"
    assert out.codes["budget.missing_effect"] == "few_mishaps"
    assert len(out.tables["budget_if"].rows) == 15


def test_records_too_thin_to_tell_who_is_aboard_are_no_fault(asking):
    mishap, occupant = read_tables(asking)
    kept = mishap["mishap_id"].unique()[:2]
    write_tables(asking, tuple(one[one["mishap_id"].isin(kept)] for one in (mishap, occupant)))
    out = told_of(asking, modelled=False)
    assert out.codes["budget.form"] == "not_drawn"
    assert {out.absent[one] for one in IDS} == {"few_mishaps"}


def test_a_group_of_whom_nobody_was_aboard_is_no_fault(asking):
    text = (asking / "study.toml").read_text(encoding="utf-8")
    text = text.replace('["flight_crew", "technical_crew"]', '["technical_crew"]')
    (asking / "study.toml").write_text(text, encoding="utf-8")
    out = told_of(asking)
    assert out.codes["budget.missing_effect"] == "group_not_in_records"


def test_neither_the_order_of_rows_nor_ids_move_a_world(asking):
    told = [told_of(asking, word="supports")]
    mishap, occupant = read_tables(asking)
    renamed = {old: f"X{len(mishap) - at:03d}" for at, old in enumerate(mishap["mishap_id"])}
    tables = [one.iloc[::-1].replace({"mishap_id": renamed}) for one in (mishap, occupant)]
    write_tables(asking, tuple(tables))
    told.append(told_of(asking, word="supports"))
    first, second = ({name: number.value for name, number in ours(out).items()} for out in told)
    assert first == pytest.approx(second, rel=1e-6, abs=1e-9)


def test_one_figure_more_moves_no_other_draw(asking):
    before = told_of(asking, word="supports")
    text = (asking / "study.toml").read_text(encoding="utf-8")
    more = 'false_confidence = {value = 0.01, source = "guess", quality = "assumed"}\n'
    (asking / "study.toml").write_text(
        text.replace("injury_cost = {", f"{more}injury_cost = {{", 1), encoding="utf-8"
    )
    after = told_of(asking, word="supports")
    for name in ("budget.at_risk", "policy.1.extra_cost_a_year", "exposure.mishaps_a_year"):
        assert before.numbers[name] == after.numbers[name]
    assert after.numbers["budget.lives_per_year"].value < before.numbers["budget.lives_per_year"].value


def test_people_of_a_zone_are_those_who_sat_in_its_rows():
    cabins = parse_plan((demo_folder("demo_main") / "study.toml").read_bytes()).cabin
    frame = pd.DataFrame(
        {
            "role": ["passenger"] * 6 + ["flight_crew"],
            "aircraft_class": [
                "A_twin_2c8p",
                "A_twin_2c8p",
                "B_light_1c4p",
                "C_heavy_3c16p",
                "none",
                None,
                "A_twin_2c8p",
            ],
            "seat_row": pd.array([4, 3, 3, 7, 4, 4, 4], dtype="Int64"),
        }
    )
    rear = GroupPlan(name="rear", roles=["passenger"], zone="rear")
    assert members(frame, rear, cabins).tolist() == [True, False, True, False, False, False, False]
    light = GroupPlan(name="light", roles=["passenger"], classes=["B_light_1c4p"])
    assert members(frame, light, cabins).tolist() == [False, False, True, False, False, False, False]
    frame["seat_row"] = pd.array([None] * 7, dtype="Int64")
    assert not members(frame, rear, cabins).any()


#: Decisions at the edge of what can be asked: what is changed in the study file of the demo.
EDGES = {
    "nobody is trained today": (
        ('today = "every second year"', 'today = "nobody"'),
        ("[[decision.group]]", '[[decision.policy]]\nname = "nobody"\n\n[[decision.group]]'),
    ),
    "no refresher": (
        ("\nmonths = 48", ""),
        ("\nlongest_months", "\n# longest_months"),
        ("\nlongest_source", "\n# longest_source"),
    ),
    "no mishap was counted": (("{value = 3, hours", "{value = 0, hours"),),
    "every course kills": (
        ('{value = 0.000001, low = 0.0000002, high = 0.000005, shape = "lognormal"', "{value = 1"),
    ),
    "two policies that are the same": (("\nmonths = 48", "\nmonths = 24"),),
}


@pytest.mark.parametrize("edge", EDGES)
def test_at_the_edge_every_number_is_finite_or_absent_with_a_reason(asking, edge):
    text = (asking / "study.toml").read_text(encoding="utf-8")
    for old, new in EDGES[edge]:
        assert old in text
        text = text.replace(old, new, 1)
    (asking / "study.toml").write_text(text, encoding="utf-8")
    out = told_of(asking, word="supports")
    for one in IDS:
        assert (one in out.numbers or one in out.tables) != (one in out.absent), one
    for name, number in ours(out).items():
        assert math.isfinite(number.value), name
    if edge == "every course kills":
        assert out.numbers["budget.lives_per_year"].value < -100
        assert out.codes["budget.trade"] == "worse_and_dearer"
    if edge == "two policies that are the same":
        assert out.numbers["policy.1.lives_a_year"].value == 0
        assert out.codes["policy.1.trade"] == "same"
    if edge == "nobody is trained today":
        assert out.absent["budget.years_per_life"] == "no_lives"
