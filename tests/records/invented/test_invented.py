"""Truths are those of the design's method paper (two independent programs); tolerances are simulation error."""

import json

import numpy as np
import pandas as pd
import pytest

from survstats.groundwork.errors import CallError
from survstats.records.demo import DEMO_NAMES, demo_folder
from survstats.records.invented import studies as invented
from survstats.records.invented.runs import simulate_runs
from survstats.records.invented.worlds import fate, retained, simulate_logistic, simulate_mechanistic


@pytest.mark.parametrize("name", DEMO_NAMES)
def test_the_studies_are_made_again_byte_for_byte(name, tmp_path, monkeypatch):
    monkeypatch.setattr(invented, "TRUTH_MISHAPS", 2_000)
    invented.write_study(name, tmp_path)
    for file in ("mishap.csv", "occupant.csv", "training_run.csv", "study.toml", "README.md"):
        assert (tmp_path / file).read_bytes() == (demo_folder(name) / file).read_bytes(), file
    again = json.loads((tmp_path / "truth.json").read_text())["exposure"]
    kept = json.loads((demo_folder(name) / "truth.json").read_text())["exposure"]
    for code, truth in kept.items():
        error = np.hypot(truth["monte_carlo_error"], again[code]["monte_carlo_error"])
        assert abs(again[code]["risk_difference"] - truth["risk_difference"]) <= 4 * error


def test_without_effect_the_truth_is_exactly_nothing():
    truth = json.loads((demo_folder("demo_null") / "truth.json").read_text())
    for exposure in (truth["exposure"], invented.simulate_truth(0.0, mishaps=500)["exposure"]):
        assert all(v == 0 for e in exposure.values() for v in e.values())


def test_the_kept_truths_are_those_of_the_method():
    truth = json.loads((demo_folder("demo_main") / "truth.json").read_text())["exposure"]
    expected = {"any_recency": 0.0667, "current_24_months": 0.1003, "month_0": 0.136}
    for code, value in expected.items():
        assert truth[code]["risk_difference"] == pytest.approx(value, abs=0.002)


def test_training_helps_in_cabins_that_capsize():
    rng = np.random.default_rng(7)
    world = simulate_mechanistic(40_000, rng)
    inside = ~world.occupant["impact_death"].to_numpy()
    held = retained(rng.uniform(0, 60, len(inside)))
    gain = fate(world, held)[2].astype(float) - fate(world, np.zeros(len(inside)))[2]
    capsized = world.mishap["capsized"].to_numpy()[world.occupant["mishap"]]
    assert gain[inside & capsized].mean() == pytest.approx(0.139, abs=0.006)
    assert gain[inside & ~capsized].mean() == pytest.approx(0.020, abs=0.004)


@pytest.mark.parametrize(
    ("effect", "gap", "crude", "share_alive"), [(0.9, 0.172, 0.233, 0.616), (0.0, 0.0, 0.063, 0.546)]
)
def test_the_logistic_world(effect, gap, crude, share_alive):
    people = simulate_logistic(40_000, np.random.default_rng(3), effect=effect)
    people = people[people["impact_death"] == 0]
    difference = (people["survived_if_trained"] - people["survived_if_untrained"]).mean()
    by_arm = people.groupby("trained")["survived"].mean()
    assert difference == pytest.approx(gap, abs=0.003 if effect else 0)
    assert by_arm[1] - by_arm[0] == pytest.approx(crude, abs=0.008)
    assert people.loc[people["survived"] == 1, "trained"].mean() == pytest.approx(share_alive, abs=0.008)
    if effect:
        assert people["survived_if_trained"].mean() == pytest.approx(0.648, abs=0.008)
        assert people["survived_if_untrained"].mean() == pytest.approx(0.476, abs=0.008)
        dead = people["survived"] == 0
        assert people.loc[dead, "trained"].mean() == pytest.approx(0.379, abs=0.008)


@pytest.mark.parametrize("name", DEMO_NAMES)
def test_more_than_half_of_the_mishaps_are_coded_twice_and_mostly_alike(name):
    mishap = pd.read_csv(demo_folder(name) / "mishap.csv", dtype=str, keep_default_na=False)
    twice = mishap[mishap["second_coder_id"] != ""]
    assert 0.45 <= len(twice) / len(mishap) <= 0.75
    assert name in ("demo_small", "demo_separation") or len(twice) >= 30
    assert (twice["second_coder_id"] != twice["coder_id"]).all()
    alike = (twice["impact_severity_second"] == twice["impact_severity"]).mean()
    assert 0.5 <= alike < 1
    both = twice[twice["impact_severity"].str.isdigit()]
    step = both["impact_severity"].astype(int) - both["impact_severity_second"].astype(int)
    assert step.abs().max() <= 1


def test_runs_in_the_trainer_are_a_race_of_the_same_kind():
    runs = simulate_runs(4_000, np.random.default_rng(11))
    assert runs.groupby("person_code").size().between(3, 8).all()
    assert not runs.duplicated(["person_code", "run_date", "run_no"]).any()
    passed = runs[(runs["result"] == "passed") & (runs["time_out_s"] != "unknown")]
    log_time = np.log(passed["time_out_s"].astype(float))
    by = passed.assign(log_time=log_time, late=passed["run_no"].astype(int) > 4).groupby
    for harder, longer in (("posture", "inverted"), ("light", "night"), ("cross_cabin", "yes")):
        medians = by(harder)["log_time"].median()
        assert medians.idxmax() == longer
        assert 0.05 <= medians.max() - medians.min() <= 0.6
    hard = passed[
        (passed["posture"] == "inverted") & (passed["cross_cabin"] == "no") & (passed["light"] == "day")
    ]
    number = hard["run_no"].astype(int)
    assert log_time[hard.index][number >= 5].mean() < log_time[hard.index][number == 2].mean()
    months = pd.to_numeric(hard["months_since_last"], errors="coerce")
    assert log_time[months.index][months <= 12].mean() < log_time[months.index][months >= 48].mean()


def test_an_unknown_study(tmp_path):
    with pytest.raises(CallError, match="demo_huge"):
        invented.write_study("demo_huge", tmp_path)
    assert not list(tmp_path.iterdir())
