"""Which records would an invented world leave behind, if they were typed in by the codebook?

The sea state stands as a wave height, so that survival is linear in what is recorded; cold and warm water are two
temperatures. Whether the cabin turned over cannot be held equal (for flight crew it follows from their own training,
and the study file that asks for it is refused): it is part of the mishap's shared luck here. Training is always
current, or there was none. Dates, and with them the decade, are drawn on their own.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.groundwork.provenance import bytes_hash
from survstats.records.invented.worlds import simulate_logistic
from survstats.records.loading import Records, typed_records
from survstats.records.reading.tables import TextTable
from survstats.rehearsal.scenarios import Scenario

FIRST_DAY, LAST_DAY = np.datetime64("1996-01-01"), np.datetime64("2025-12-31")
COLD_C, WARM_C = "9", "17"
LONGEST_SINCE_DAYS = 700  # below 24 months

Texts = NDArray[np.object_]


def simulate_people(scenario: Scenario, mishaps: int, rng: np.random.Generator) -> pd.DataFrame:
    """Everyone aboard as they truly were (n rows, see `simulate_logistic`), with what is written of their training.

    ``recorded`` is ``current``, ``none`` or ``unknown``, ``evidence`` what it rests on. An impact death is a death.
    """
    people = simulate_logistic(mishaps, rng, effect=scenario.effect, fitness=scenario.fitness)
    luck = rng.random((3, len(people)))
    alive = ((people["survived"] == 1) & (people["impact_death"] == 0)).to_numpy()
    trained = (people["trained"] == 1).to_numpy()
    inferred = ~alive & (luck[0] < scenario.inferred_dead)
    said = trained & ~(inferred & (luck[1] < scenario.miscoded))
    unknown = luck[2] < np.where(alive, scenario.unknown_survivors, scenario.unknown_dead)
    return people.assign(
        alive=alive,
        recorded=np.select([unknown, said], ["unknown", "current"], "none"),
        evidence=np.select([unknown, inferred, said], ["none", "inferred", "certificate"], "roster"),
    )


def simulate_records(scenario: Scenario, mishaps: int, rng: np.random.Generator) -> Records:
    """The records of such a world: g mishaps, n occupants, typed as if read from files."""
    people = simulate_people(scenario, mishaps, rng)
    days = np.sort(rng.integers(0, int((LAST_DAY - FIRST_DAY).astype(int)) + 1, mishaps))
    dates = FIRST_DAY + days
    since = rng.integers(1, LONGEST_SINCE_DAYS, len(people))
    mishap, occupant = _mishap_table(people, dates), _occupant_table(people, dates, since)
    return typed_records(
        {
            "mishap": _written("mishap.csv", mishap, people),
            "occupant": _written("occupant.csv", occupant, people),
        }
    )


def _mishap_table(people: pd.DataFrame, dates: NDArray[np.datetime64]) -> pd.DataFrame:
    first = people.drop_duplicates("mishap")
    crew = people.groupby("mishap")["crew"].sum().to_numpy()
    aboard = people.groupby("mishap").size().to_numpy()
    return pd.DataFrame(
        {
            "mishap_id": _names("R", np.arange(len(dates))),
            "event_date": dates.astype(str).astype(object),
            "operator_code": np.where(first["operator_south"] == 1, "S", "N").astype(object),
            "aircraft_class": first["aircraft_class"].to_numpy(object),
            "n_crew": _whole(crew),
            "n_pax": _whole(aboard - crew),
            "n_aboard": _whole(aboard),
            "impact_survivability": "survivable",
            "sig_wave_height_m": first["sea_state"].map("{:.6f}".format).to_numpy(object),
            "water_temp_c": np.where(first["cold"] == 1, COLD_C, WARM_C).astype(object),
            "immersion_type": np.where(first["inverted"] == 1, "capsized_afloat", "upright_afloat"),
            "report_quality": "A",
            "status_ascertained_by": "roster_all",
            "coded_blind": "yes",
        }
    )


def _occupant_table(
    people: pd.DataFrame, dates: NDArray[np.datetime64], since: NDArray[np.int64]
) -> pd.DataFrame:
    g = people["mishap"].to_numpy()
    alive, recorded = people["alive"].to_numpy(), people["recorded"].to_numpy()
    killed = people["impact_death"].to_numpy() == 1
    current, unknown = recorded == "current", recorded == "unknown"
    course = (dates[g] - since).astype(str)
    place = people.groupby("mishap").cumcount().to_numpy()
    return pd.DataFrame(
        {
            "mishap_id": _names("R", g),
            "occupant_id": _names("p", place),
            "role": np.where(people["crew"] == 1, "flight_crew", "passenger").astype(object),
            "seats_to_exit": np.where(people["far"] == 1, "2", "0").astype(object),
            "training_ever": np.select([unknown, current], ["unknown", "yes"], "no"),
            "training_type": np.select([unknown, current], ["unknown", "underwater_escape"], "none"),
            "training_last_date": np.select([unknown, current], ["unknown", course], "na"),
            "training_date_precision": np.select([unknown, current], ["unknown", "day"], "na"),
            "training_evidence": people["evidence"].to_numpy(object),
            "alive_at_immersion": np.where(killed, "no", "yes").astype(object),
            "outcome": np.where(alive, "survived", "died").astype(object),
            "days_to_death": np.where(alive, "", "0").astype(object),
            "cause_of_death": np.select([alive, killed], ["na", "impact_trauma"], "drowning_inside"),
        }
    ).astype(object)


def _written(file: str, cells: pd.DataFrame, people: pd.DataFrame) -> TextTable:
    marks = bytes_hash(pd.util.hash_pandas_object(people, index=False).to_numpy().tobytes())
    return TextTable(file, marks, cells, tuple(range(2, len(cells) + 2)))


def _names(letter: str, numbers: NDArray[np.integer[Any]]) -> Texts:
    return np.array([f"{letter}{number + 1:03d}" for number in numbers], dtype=object)


def _whole(numbers: NDArray[np.integer[Any]]) -> Texts:
    return numbers.astype(str).astype(object)
