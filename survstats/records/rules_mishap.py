"""Do the fields of a mishap agree with each other and with its roster?"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from survstats.records.deriving import second_source
from survstats.records.rules import Evidence, Hit, Rule

# Upper bounds of wave height in m, codes 0 to 8 of WMO code table 3700; the bound belongs to the lower code.
WAVE_BOUNDS_M = (0.0, 0.1, 0.5, 1.25, 2.5, 4.0, 6.0, 9.0, 14.0)


def _unique_mishaps(evidence: Evidence) -> list[Hit]:
    repeated = evidence.mishap.duplicated("mishap_id")
    return evidence.where("mishap", repeated, "mishap_id", expected="each mishap once")


def _unique_occupants(evidence: Evidence) -> list[Hit]:
    repeated = evidence.occupant.duplicated(["mishap_id", "occupant_id"])
    return evidence.where(
        "occupant", repeated, "occupant_id", "mishap_id", expected="each person once in a mishap"
    )


def _known_mishap(evidence: Evidence) -> list[Hit]:
    lost = evidence.home["file_row"].isna()
    return evidence.where("occupant", lost, "mishap_id", expected="a mishap of the mishap table")


def _whole_roster(evidence: Evidence) -> list[Hit]:
    mishap = evidence.mishap
    rows = _rows(evidence)
    off = (rows != mishap["n_aboard"]) & mishap["n_aboard"].notna()
    severe = mishap["status_ascertained_by"] == "roster_all"
    seen = zip(mishap["file_row"][off], rows[off], mishap["n_aboard"][off], severe[off], strict=True)
    return [
        Hit(
            "mishap",
            int(file_row),
            "n_aboard",
            f"{have:.0f} occupant rows for {aboard:.0f} aboard",
            "a row for everyone aboard",
            "error" if whole else None,
        )
        for file_row, have, aboard, whole in seen
    ]


def _sum_aboard(evidence: Evidence) -> list[Hit]:
    mishap = evidence.mishap
    total = mishap["n_crew"] + mishap["n_pax"]
    off = total.notna() & mishap["n_aboard"].notna() & (total != mishap["n_aboard"])
    return evidence.where("mishap", off, "n_aboard", "n_crew", "n_pax", expected="n_crew + n_pax")


def _crew_rows(evidence: Evidence) -> list[Hit]:
    mishap, role = evidence.mishap, evidence.occupant["role"]
    keys = evidence.occupant["mishap_id"]
    crew = _spread(role.isin(["flight_crew", "technical_crew"]).groupby(keys).sum(), mishap)
    unclear = _spread(
        (~role.isin(["flight_crew", "technical_crew", "passenger"])).groupby(keys).sum(), mishap
    )
    missing = (mishap["n_aboard"] - _rows(evidence)).clip(lower=0).fillna(0)
    off = (crew > mishap["n_crew"]) | (crew + unclear + missing < mishap["n_crew"])
    return evidence.where("mishap", off, "n_crew", expected="as many crew as the occupant table has")


def _wave_height(evidence: Evidence) -> list[Hit]:
    mishap = evidence.mishap
    code, height = mishap["sea_state_wmo"], mishap["sig_wave_height_m"]
    by_height = np.searchsorted(WAVE_BOUNDS_M, height.fillna(0).to_numpy(float), side="left")
    off = code.notna() & height.notna() & (code != by_height)
    return evidence.where(
        "mishap", off, "sig_wave_height_m", "sea_state_wmo", expected="a height within the code's bounds"
    )


def _future(evidence: Evidence) -> list[Hit]:
    late = evidence.mishap["event_date"] > pd.Timestamp(evidence.today)
    return evidence.where("mishap", late, "event_date", expected="a day that has been")


def _two_sources(evidence: Evidence) -> list[Hit]:
    again = second_source(evidence.mishap)
    return evidence.where(
        "mishap",
        again,
        "mishap_id",
        "event_date",
        "aircraft_class",
        "n_aboard",
        expected="each mishap from one source only",
    )


def _rows(evidence: Evidence) -> pd.Series[float]:
    return _spread(evidence.occupant.groupby("mishap_id").size(), evidence.mishap)


def _spread(counts: pd.Series[Any], mishap: pd.DataFrame) -> pd.Series[float]:
    """Counts by mishap id as a column of the mishap table; 0 where the id has no rows."""
    return mishap["mishap_id"].map(counts).fillna(0).astype(float)


MISHAP_RULES = (
    Rule("R1", "error", "delete the second row, or give it its own id", _unique_mishaps),
    Rule("R1", "error", "delete the second row, or give it its own id", _unique_occupants),
    Rule("R2", "error", "add the mishap, or correct the id", _known_mishap),
    Rule("R3", "warning", "add the missing rows, the dead included, or correct n_aboard", _whole_roster),
    Rule("R4", "error", "correct whichever of the three is wrong", _sum_aboard),
    Rule("R5", "warning", "correct n_crew or the roles", _crew_rows),
    Rule("R7", "error", "correct the height or the code", _wave_height),
    Rule("R33", "error", "correct the date", _future),
    Rule(
        "R42",
        "warning",
        "the later row is left out with its people; if these are two mishaps, tell them apart by class",
        _two_sources,
    ),
)
