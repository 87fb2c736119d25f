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


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "mishaps", "effect", "chosen"),
    [("demo_small", 18, 1.0, 28), ("demo_main", 60, 1.0, 31), ("demo_null", 60, 0.0, 84)],
)
def test_each_demo_is_the_median_draw(tmp_path, name, mishaps, effect, chosen):
    differences = {}
    for draw in range(invented.DRAWS):
        mishap, occupant = invented.draw_study(f"{name}/{draw}", mishaps=mishaps, effect=effect)
        paths = tmp_path / "mishap.csv", tmp_path / "occupant.csv"
        mishap.to_csv(paths[0], index=False)
        occupant.to_csv(paths[1], index=False)
        records = read_records(*paths)
        analysed = build_cohort(derive(records, currency_months=24), records, population="P1").analysed
        try:
            model = prepare(
                analysed, outcome="survived", exposure="trained", covariates=COVARIATES, cluster="mishap_id"
            )
        except NotEstimable:
            continue
        trained, untrained = model.risks(np.ones((1, model.mishaps)))[0]
        differences[draw] = trained - untrained
    assert len(differences) > invented.DRAWS / 2
    assert sorted(differences, key=differences.__getitem__)[len(differences) // 2] == chosen
