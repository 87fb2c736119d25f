"""Records for the tests of the decision floor: those of a demo, and bare mishaps with people by group."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.effects.risk_model import Refits, prepare, refit
from survstats.records.cohort import build_cohort
from survstats.records.demo import demo_folder
from survstats.records.deriving import derive
from survstats.records.loading import read_records

COVARIATES = ["role", "operator_code", "aircraft_class", "far_seat", "sig_wave_height_m"]


@dataclass(frozen=True)
class Demo:
    """Everyone aboard, the people compared and the fits of a demo study."""

    aboard: pd.DataFrame
    analysed: pd.DataFrame
    refits: Refits
    mishaps: int

    @property
    def months_since(self) -> NDArray[np.float64]:
        return self.analysed.loc[self.analysed["trained"] == 1, "months_since"].to_numpy(float)


@cache
def demo(name: str, covariates: tuple[str, ...] = tuple(COVARIATES)) -> Demo:
    folder = demo_folder(name)
    records = read_records(folder / "mishap.csv", folder / "occupant.csv")
    derived = derive(records, currency_months=24)
    analysed = build_cohort(derived, records, population="P1").analysed
    model = prepare(
        analysed, outcome="survived", exposure="trained", covariates=list(covariates), cluster="mishap_id"
    )
    aboard = build_cohort(derived, records, population="P2").frame
    return Demo(aboard, analysed, refit(model), aboard["mishap_id"].nunique())


def by_role_and_seat(frame: pd.DataFrame) -> dict[str, NDArray[np.bool_]]:
    """Crew, passengers near an exit, passengers far from one."""
    passenger = frame["role"].eq("passenger").to_numpy(bool)
    far = frame["far_seat"].eq("yes").to_numpy(bool)
    return {
        "crew": frame["role"].isin(["flight_crew", "technical_crew"]).to_numpy(bool),
        "near": passenger & ~far,
        "far": passenger & far,
    }


def everybody(frame: pd.DataFrame) -> dict[str, NDArray[np.bool_]]:
    """One group that holds all people."""
    return {"all": np.ones(len(frame), dtype=bool)}


def bare(people: list[tuple[int, str, str]]) -> pd.DataFrame:
    """Everyone aboard as (mishap, group, fate): fate is alive, gone (in the impact) or unknown."""
    frame = pd.DataFrame(people, columns=["mishap_id", "group", "fate"])
    return frame.assign(
        in_p1=frame["fate"] == "alive",
        died_on_impact=frame["fate"] == "gone",
        impact_survivability="survivable",
        survived=(frame["fate"] == "alive").astype(int),
    )
