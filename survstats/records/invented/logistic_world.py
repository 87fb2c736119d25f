"""What else is true of people in the logistic world, so that records of them can be written down?

Survival is decided by `survstats.records.invented.worlds.simulate_logistic`; wave height is its sea state, cold and
warm water are two temperatures, training does not fade. The rest is drawn on its own.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from survstats.records.invented.worlds import OPERATORS, World, simulate_logistic

COLD_C, WARM_C = 9.0, 17.0
LONGEST_SINCE_MONTHS = 24.0
OUT_OF_THE_DEAD = 0.3  # of those who died after the impact, how many had got out
SUIT = 0.5
NIGHT = 0.3


def logistic_world(mishaps: int, rng: np.random.Generator, *, effect: float) -> World:
    """Mishaps whose survival is logistic, told as `survstats.records.invented.fields` writes them down.

    Parameters
    ----------
    mishaps : int
        How many, >= 1.
    rng : Generator
        Source of all draws.
    effect : float
        Coefficient of training, log odds.
    """
    people = simulate_logistic(mishaps, rng, effect=effect)
    first, n = people.drop_duplicates("mishap"), len(people)
    crew = people.groupby("mishap")["crew"].sum().to_numpy()
    mishap = pd.DataFrame(
        {
            "aircraft_class": first["aircraft_class"].to_numpy(object),
            "operator_code": np.array(OPERATORS)[first["operator_south"]],
            "n_crew": crew,
            "n_pax": people.groupby("mishap").size().to_numpy() - crew,
            "wave_m": first["sea_state"].to_numpy(float),
            "water_c": np.where(first["cold"] == 1, COLD_C, WARM_C),
            "night": rng.random(mishaps) < NIGHT,
            "capsized": first["inverted"].to_numpy() == 1,
        }
    )
    killed = people["impact_death"].to_numpy() == 1
    lived = (people["survived"].to_numpy() == 1) & ~killed
    occupant = pd.DataFrame(
        {
            "mishap": people["mishap"],
            "crew": people["crew"] == 1,
            "far": people["far"] == 1,
            "suit": rng.random(n) < SUIT,
            "trained": people["trained"] == 1,
            "months_since": rng.uniform(0, LONGEST_SINCE_MONTHS, n),
            "impact_death": killed,
            "time_out_s": rng.lognormal(np.log(20), 0.5, n),
            "out": lived | (~killed & (rng.random(n) < OUT_OF_THE_DEAD)),
            "survived": lived,
        }
    )
    return World(mishap, occupant, effect)
