"""The demo studies are typical draws: each is the median of all draws by its main estimate."""

from __future__ import annotations

import numpy as np
import pytest

from survstats.effects.risk_model import prepare
from survstats.groundwork.errors import NotEstimable
from survstats.records.cohort import build_cohort
from survstats.records.deriving import derive
from survstats.records.invented import studies as invented
from survstats.records.loading import read_records

COVARIATES = (
    "role",
    "operator_code",
    "aircraft_class",
    "far_seat",
    "sig_wave_height_m",
    "water_temp_c",
    "light",
)


def differences_of(draws, tmp_path, *, covariates, keep=lambda _: True):
    """The main estimate of every draw that allows one, of those that are kept."""
    differences = {}
    for draw, (mishap, occupant) in draws:
        paths = tmp_path / "mishap.csv", tmp_path / "occupant.csv"
        mishap.to_csv(paths[0], index=False)
        occupant.to_csv(paths[1], index=False)
        records = read_records(*paths)
        analysed = build_cohort(derive(records, currency_months=24), records, population="P1").analysed
        if not keep(analysed):
            continue
        try:
            model = prepare(
                analysed, outcome="survived", exposure="trained", covariates=covariates, cluster="mishap_id"
            )
        except NotEstimable:
            continue
        trained, untrained = model.risks(np.ones((1, model.mishaps)))[0]
        differences[draw] = trained - untrained
    return differences


def middle(differences):
    return sorted(differences, key=differences.__getitem__)[len(differences) // 2]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "mishaps", "effect", "chosen"),
    [
        ("demo_small", 18, 1.0, 28),
        ("demo_main", 60, 1.0, 31),
        ("demo_null", 60, 0.0, 84),
        ("demo_harm", 60, -1.0, 74),
    ],
)
def test_each_demo_is_the_median_draw(tmp_path, name, mishaps, effect, chosen):
    draws = (
        (draw, invented.draw_study(f"{name}/{draw}", mishaps=mishaps, effect=effect))
        for draw in range(invented.DRAWS)
    )
    differences = differences_of(draws, tmp_path, covariates=COVARIATES)
    assert len(differences) > invented.DRAWS / 2
    assert middle(differences) == chosen


@pytest.mark.slow
def test_the_study_of_separation_is_the_median_of_those_in_which_no_trained_person_died(tmp_path):
    draws = (
        (draw, invented.draw_study(f"demo_separation/{draw}", mishaps=20, effect=4.0, world="logistic"))
        for draw in range(invented.DRAWS)
    )
    differences = differences_of(
        draws,
        tmp_path,
        covariates=COVARIATES[:4],
        keep=lambda analysed: (analysed.loc[analysed["trained"] == 1, "survived"] == 1).all(),
    )
    assert len(differences) >= 20
    assert middle(differences) == 100
