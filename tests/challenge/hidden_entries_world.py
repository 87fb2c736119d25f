"""A logistic world in which the training of some of the dead was never found out, or is not known at all."""

from __future__ import annotations

import numpy as np
import pandas as pd

from survstats.records.invented.worlds import simulate_logistic

#: Everything that survival depends on but the mishaps' shared luck.
CAUSES = ("crew", "far", "inverted", "sea_state", "cold", "aircraft_class", "operator_south")
NAMES = {"outcome": "survived", "exposure": "trained", "covariates": CAUSES, "cluster": "mishap"}


def hidden_entries(
    seed: int, mishaps: int, *, effect: float = 0.9, missed: float = 0.2, unknown_dead: float = 0.0
) -> pd.DataFrame:
    """People alive at immersion, with a share of the trained dead recorded untrained and nobody's death documented.

    ``truly`` keeps the truth. ``unknown_dead`` is the share of the dead whose entry is lost.
    """
    rng = np.random.default_rng([78, seed])
    people = simulate_logistic(mishaps, rng, effect=effect)
    people = people[people["impact_death"] == 0].reset_index(drop=True)
    truly, died = people["trained"].astype(float), people["survived"] == 0
    recorded = truly.mask((truly == 1) & died & (rng.random(len(people)) < missed), 0.0)
    lost = died & (rng.random(len(people)) < unknown_dead)
    status = np.where(lost, "unknown", np.where(recorded == 1, "current", "none"))
    return people.assign(
        truly=truly,
        trained=recorded.mask(lost),
        trained_status=status,
        documented=~died,
        training_evidence=np.where(died, "next_of_kin", "roster"),
    )
