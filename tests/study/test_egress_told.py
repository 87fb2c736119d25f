"""Is everything on getting out stored with the people it rests on, or absent with a reason, and kept in the house?"""

from __future__ import annotations

import math
import shutil

import pandas as pd
import pytest
from thin import THIN, thin_study

import survstats
from survstats.effects.time_rows import FEWEST_TIMED
from survstats.records.demo import DEMO_NAMES, demo_folder
from survstats.records.deriving import derive
from survstats.study import cabin_told, egress_told, rates_told, runs_told, split_told, times_told
from survstats.study.everybody import everybody
from survstats.study.plan import read_study
from survstats.study.results import MASKED, rows_in
from survstats.study.results_builder import ResultsBuilder
from survstats.study.run import run
from survstats.study.steps import read_records

IDS = (*egress_told.IDS, *times_told.IDS, *split_told.IDS, *rates_told.IDS)
TABLES = {
    "egress_people": "arm occupants out inside not_known timed points bands time_unknown",
    "egress_at": "arm time_s known_out known_inside cannot_tell",
    "egress_curve": "arm time_s least most low high",
    "egress_boxes": "arm from_s to_s mass",
    "egress_models": "distribution time_ratio low high log_likelihood scale",
    "egress_model_curve": "arm time_s share",
}


def table(results, name: str) -> pd.DataFrame:
    found = results.tables[name]
    return pd.DataFrame(found.rows, columns=list(found.columns))


@pytest.fixture(params=[*DEMO_NAMES, *THIN])
def results(request, demo_results, thin_results):
    return (demo_results if request.param in DEMO_NAMES else thin_results)[request.param]


def test_everything_is_there_or_has_a_reason_and_numbers_are_finite(results):
    for one in IDS:
        there = one in results.numbers or one in results.tables
        assert there != (one in results.absent), one
    for name, number in results.numbers.items():
        if name in IDS:
            assert math.isfinite(number.value), name
            assert number.low is None or number.low <= number.value <= number.high, name
            assert name in results.rests_on or name in results.people
    for name, columns in TABLES.items():
        assert name not in results.tables or list(results.tables[name].columns) == columns.split()


def test_the_counts_of_each_group_add_up(results):
    people = table(results, "egress_people").set_index("arm")
    assert list(people.index) == ["trained", "untrained", "others"]
    assert (people["out"] + people["inside"] + people["not_known"] == people["occupants"]).all()
    assert (people["timed"] + people["time_unknown"] == people["out"]).all()
    assert (people["points"] + people["bands"] == people["timed"]).all()
    assert people["occupants"].sum() == results.numbers["cohort.population"].value
    at = table(results, "egress_at")
    assert list(at["time_s"]) == [10.0, 20.0, 40.0, 60.0] * 2
    told = at["known_out"] + at["known_inside"] + at["cannot_tell"]
    assert (told == at["arm"].map(people["occupants"])).all()
    for _, group in at.groupby("arm"):
        assert group["known_out"].is_monotonic_increasing
        assert group["known_inside"].is_monotonic_decreasing


def test_how_far_the_groups_may_differ_is_counted_and_holds_what_the_curves_say(results):
    people, at = table(results, "egress_people").set_index("arm"), table(results, "egress_at")
    for second in (20, 60):
        names = [f"egress.widest_{second}_{end}" for end in ("low", "high")]
        if not people.loc[["trained", "untrained"], "occupants"].all():
            assert {results.absent[name] for name in names} <= {"one_arm", "no_rows"}
            continue
        line = at[at["time_s"] == second].set_index("arm")
        one, other = (line.loc[arm] / people.loc[arm, "occupants"] for arm in ("trained", "untrained"))
        low, high = (results.numbers[name] for name in names)
        assert low.value == pytest.approx(one["known_out"] - other["known_out"] - other["cannot_tell"])
        assert high.value == pytest.approx(one["known_out"] + one["cannot_tell"] - other["known_out"])
        assert (low.method, low.unit, low.low) == ("bounds", "difference", None)
        if f"egress.rd_{second}_least" in results.numbers and not people["not_known"][:2].any():
            assert low.value - 1e-9 <= results.numbers[f"egress.rd_{second}_least"].value
            assert results.numbers[f"egress.rd_{second}_most"].value <= high.value + 1e-9


def test_with_few_timed_people_the_curves_are_drawn_and_no_difference_is_told(demo_results):
    results = demo_results["demo_small"]
    people = table(results, "egress_people").set_index("arm")
    assert people.loc[["trained", "untrained"], "timed"].min() < FEWEST_TIMED
    assert "egress_curve" in results.tables
    for name in ("rd_20_least", "rd_60_most", "seconds_least"):
        assert results.absent[f"egress.{name}"] == "few_timed"
    assert "egress.rd_20_form" not in results.codes


def test_curves_rise_from_none_to_no_more_than_the_share_that_got_out(results):
    if "egress_curve" not in results.tables:
        assert results.absent["egress_curve"] in (
            "few_mishaps",
            "one_mishap",
            "no_rows",
            "one_arm",
            "one_outcome",
        )
        return
    curve, boxes = table(results, "egress_curve"), table(results, "egress_boxes")
    people = table(results, "egress_people").set_index("arm")
    for arm, group in curve.groupby("arm"):
        assert (group["low"] <= group["least"] + 1e-9).all()
        assert (group["least"] <= group["most"] + 1e-9).all()
        assert (group["most"] <= group["high"] + 1e-9).all()
        assert tuple(group.iloc[0])[1:] == (0, 0, 0, 0, 0)
        assert group["time_s"].is_monotonic_increasing
        assert group["time_s"].max() <= 120
        ever = people.loc[arm, "out"] / (people.loc[arm, "out"] + people.loc[arm, "inside"])
        mass = boxes.loc[boxes["arm"] == arm, "mass"].sum()
        assert group["most"].max() <= mass + 1e-9
        if not people.loc[arm, "not_known"]:
            assert mass == pytest.approx(ever, abs=1e-7)


def test_the_split_adds_up_to_the_difference(results):
    if "split.rd" in results.numbers:
        parts = [results.numbers[f"split.{name}"].value for name in ("getting_out", "afterwards")]
        assert sum(parts) == pytest.approx(results.numbers["split.rd"].value, abs=1e-12)
        out = results.numbers["split.out_trained"].value - results.numbers["split.out_untrained"].value
        assert out == pytest.approx(results.numbers["egress.rd_out"].value, abs=1e-9)


def test_where_it_is_known_of_all_compared_the_split_is_of_the_main_difference(demo_results):
    results = demo_results["demo_main"]
    assert table(results, "egress_people")["not_known"][:2].sum() == 0
    assert results.numbers["split.rd"].value == pytest.approx(results.numbers["effect.rd"].value, abs=1e-9)
    assert results.numbers["split.rd"].low == pytest.approx(results.numbers["effect.rd"].low, abs=1e-9)


@pytest.mark.parametrize("name", DEMO_NAMES)
def test_the_people_are_those_of_a_cross_table_of_the_records(demo_results, name):
    study = read_study(demo_folder(name))
    frame = derive(read_records(study), currency_months=study.plan.question.currency_months)
    frame = frame[frame["in_p1"]]
    for at, arm in enumerate((1, 0)):
        group = frame[frame["trained"] == arm]
        there = {
            "out": group["out"] == 1,
            "inside": group["out"] == 0,
            "not_known": group["out"].isna(),
            "timed": (group["out"] == 1) & group["egress_hi_s"].notna(),
        }
        told = demo_results[name].people
        compared = frame[frame["trained"].notna() & (frame["out"] == 1)]
        gone = compared[compared["survived"] == 0]
        assert rows_in(told["egress.died_out"]) == frozenset(gone["file_row"])
        assert rows_in(told["egress.died_out_timed"]) == frozenset(
            gone.loc[gone["egress_hi_s"].notna(), "file_row"]
        )
        washed = compared["egress_outcome"].eq("washed_out") & compared["egress_hi_s"].notna()
        assert rows_in(told["egress.washed_out"]) == frozenset(compared.loc[washed, "file_row"])
        for column, who in there.items():
            rows = rows_in(demo_results[name].people[f"egress_people/{at}/{column}"])
            assert rows == frozenset(group.loc[who, "file_row"])


def test_where_only_survivors_were_asked_no_curve_is_drawn_to_the_top(demo_results, thin_results):
    for results in (demo_results["demo_survivor_only"], thin_results["survivors_asked"]):
        assert results.absent["egress_curve"] == results.absent["egress.rd_out"] == "one_outcome"
        assert results.absent["rates.all"] in ("one_outcome", "few_timed")


@pytest.mark.parametrize(
    ("name", "reason"),
    [
        ("everyone_trained", "one_arm"),
        ("nobody_trained", "one_arm"),
        ("nobody_died", "one_outcome"),
        ("one_mishap", "one_mishap"),
        ("seven_mishaps", "few_mishaps"),
        ("only_unknown", "no_rows"),
    ],
)
def test_thin_records_say_why_there_is_no_number(thin_results, name, reason):
    results = thin_results[name]
    assert results.absent["egress.rd_out"] == results.absent["split.rd"] == reason
    assert results.codes["rates.proportional"] == "not_checked"


def stored(folder) -> ResultsBuilder:
    study = read_study(folder)
    people = everybody(study, read_records(study))
    out, frame = ResultsBuilder(), people.primary_in_order
    curves = egress_told.store_egress(out, frame, study.covariates)
    model = times_told.store_times(out, frame, study.covariates, curves)
    split_told.store_split(out, frame, study.covariates)
    rates_told.store_rates(out, model, seed=study.plan.run.seed)
    return out


def test_who_is_brought_out_from_inside_is_counted_and_moves_no_share_out_by_a_second(demo_results):
    study = read_study(demo_folder("demo_main"))
    frame = everybody(study, read_records(study)).primary_in_order
    inside = frame.index[(frame["out"] == 0) & (frame["trained"] == 0)][:20]
    for column, value in (("out", 1.0), ("survived", 1), ("rescued_inside", "yes")):
        frame.loc[inside, column] = value
    out, plain = ResultsBuilder(), demo_results["demo_main"]
    egress_told.store_egress(out, frame, study.covariates)
    assert out.people["egress.rescued_inside"] == frozenset(frame.loc[inside, "file_row"])
    assert out.tables["egress_at"].rows == plain.tables["egress_at"].rows
    assert out.numbers["egress.widest_60_high"] == plain.numbers["egress.widest_60_high"]
    quick = ResultsBuilder()
    egress_told.store_egress(quick, frame.assign(rescued_inside="no"), study.covariates)
    for name in ("rd_20_least", "rd_60_most"):
        moved, wrong = (one.numbers[f"egress.{name}"].value for one in (out, quick))
        assert moved == pytest.approx(plain.numbers[f"egress.{name}"].value, abs=1e-7)
        assert wrong < plain.numbers[f"egress.{name}"].value - 0.05
    assert out.numbers["egress.rd_out"].value < plain.numbers["egress.rd_out"].value - 0.05


def test_names_and_the_order_of_the_files_move_no_number(demo_results, tmp_path):
    folder = shutil.copytree(demo_folder("demo_main"), tmp_path / "study")
    for name in ("mishap", "occupant"):
        path = folder / f"{name}.csv"
        rows = pd.read_csv(path, dtype=str, keep_default_na=False).sample(frac=1, random_state=4)
        rows["mishap_id"] = rows["mishap_id"].map(lambda one: "x" + one[::-1])
        if name == "occupant":
            rows["occupant_id"] = "p" + rows["occupant_id"]
        rows.to_csv(path, index=False)
    moved, plain = stored(folder), demo_results["demo_main"]
    for one in IDS:
        if one in plain.numbers:
            two, first = moved.numbers[one], plain.numbers[one]
            assert two.value == pytest.approx(first.value, abs=1e-7), one
            assert two.low == pytest.approx(first.low, abs=1e-6), one


def test_what_is_asked_by_seconds_is_what_the_curves_say(demo_results):
    results = demo_results["demo_main"]
    curve = table(results, "egress_curve").set_index(["arm", "time_s"])
    trained, untrained = curve.loc[("trained", 20.0)], curve.loc[("untrained", 20.0)]
    assert results.codes["egress.rd_20_form"] == results.codes["egress.rd_60_form"] == "point"
    for end, difference in (
        ("least", trained["least"] - untrained["most"]),
        ("most", trained["most"] - untrained["least"]),
    ):
        assert results.numbers[f"egress.rd_20_{end}"].value == pytest.approx(difference, abs=1e-9)
    models = table(results, "egress_models").set_index("distribution")
    assert list(models.index) == ["lognormal", "loglogistic", "weibull"]
    ratio = results.numbers["egress.time_ratio"]
    assert tuple(models.loc["lognormal", ["time_ratio", "low", "high"]]) == (
        ratio.value,
        ratio.low,
        ratio.high,
    )
    medians = [results.numbers[f"egress.median.{arm}"].value for arm in ("trained", "untrained")]
    assert medians[0] / medians[1] == pytest.approx(ratio.value, abs=1e-6)  # a lognormal is shifted whole
    assert results.codes["egress.fit"] == "close"
    assert results.numbers["egress.fit_distance"].value < 0.1


def test_nothing_of_it_is_shared(tmp_path):
    shared = run(read_study(thin_study("two_mishaps", tmp_path / "study")), audience="sharing")
    kept = (*IDS, *cabin_told.IDS, *cabin_told.POSITION_IDS, *runs_told.IDS, *runs_told.RACE_IDS)
    for one in kept:
        assert shared.absent.get(one) == MASKED, one
    names = (*shared.numbers, *shared.tables, *shared.rests_on, *shared.codes)
    assert not [one for one in names if one.startswith(("egress", "split.", "rates."))]
    assert "egress" not in "".join(shared.people)


def test_the_whole_step_draws_from_the_seed_of_the_study_alone(demo_results):
    alone = stored(survstats.demo_folder("demo_main"))
    assert alone.numbers["rates.all"] == demo_results["demo_main"].numbers["rates.all"]
