"""Do the fields of a mishap agree with each other and with its roster?"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from survstats.records.alike import perhaps_alike, second_source
from survstats.records.rules.rule import Evidence, Hit, Rule
from survstats.records.sea_state import WAVE_BOUNDS_M


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
    return [
        Hit(
            "mishap",
            at,
            "n_aboard",
            f"{rows[at]:.0f} occupant rows for {mishap['n_aboard'][at]:.0f} aboard",
            "a row for everyone aboard",
            "error" if severe[at] else None,
        )
        for at in np.flatnonzero(off).tolist()
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
    """A height converted from whole feet, say, may stand for any height that is rounded to it there."""
    mishap = evidence.mishap
    code, height = mishap["sea_state_wmo"], mishap["sig_wave_height_m"]
    source = evidence.records.sources["mishap"].get("sig_wave_height_m")
    rounding = 0.0 if source is None or source.rounding is None else source.rounding
    written = height.fillna(0).to_numpy(float)
    lowest, highest = (
        np.searchsorted(WAVE_BOUNDS_M, np.maximum(end, 0.0), side="left")
        for end in (written - rounding, written + rounding)
    )
    off = code.notna() & height.notna() & ((code < lowest) | (code > highest))
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


def _perhaps_alike(evidence: Evidence) -> list[Hit]:
    mishap = evidence.mishap
    other = perhaps_alike(mishap)
    hits = evidence.where(
        "mishap", other.notna(), "mishap_id", "event_date", "aircraft_class", "n_aboard", expected=""
    )
    return [
        replace(hit, expected=f"a mishap that is not {id_}")
        for hit, id_ in zip(hits, other.dropna(), strict=True)
    ]


def _rows(evidence: Evidence) -> pd.Series[float]:
    return _spread(evidence.occupant.groupby("mishap_id").size(), evidence.mishap)


def _spread(counts: pd.Series[Any], mishap: pd.DataFrame) -> pd.Series[float]:
    """Counts by mishap id as a column of the mishap table; 0 where the id has no rows."""
    return mishap["mishap_id"].map(counts).fillna(0).astype(float)


def _spans(evidence: Evidence) -> list[Hit]:
    hits = []
    for low, high in (
        ("warning_time_s_lo", "warning_time_s_hi"),
        ("t_capsize_lo_s", "t_capsize_hi_s"),
        ("t_sink_lo_s", "t_sink_hi_s"),
    ):
        off = evidence.mishap[low] > evidence.mishap[high]
        hits += evidence.where("mishap", off, low, high, expected=f"{low} <= {high}")
    return hits


def _capsize_before_sinking(evidence: Evidence) -> list[Hit]:
    off = evidence.mishap["t_capsize_lo_s"] > evidence.mishap["t_sink_hi_s"]
    return evidence.where(
        "mishap", off, "t_capsize_lo_s", "t_sink_hi_s", expected="a capsize before the cabin sank, or with it"
    )


def _usable_exits(evidence: Evidence) -> list[Hit]:
    off = evidence.mishap["exits_usable"] > evidence.mishap["exits_total"]
    return evidence.where("mishap", off, "exits_usable", "exits_total", expected="no more than exits_total")


def _floats(evidence: Evidence) -> list[Hit]:
    mishap = evidence.mishap
    off = (mishap["floats_deployed"] == "yes") & mishap["floats_fitted"].isin(["no", "na"])
    return evidence.where(
        "mishap", off, "floats_fitted", "floats_deployed", expected="yes where floats were deployed"
    )


def _upright(evidence: Evidence) -> list[Hit]:
    """A capsize that was only known not to have come by some time (inf) contradicts nothing."""
    mishap = evidence.mishap
    low, high = mishap["t_capsize_lo_s"], mishap["t_capsize_hi_s"]
    capsized = (high < np.inf) | (low.notna() & high.isna())
    return evidence.where(
        "mishap",
        (mishap["immersion_type"] == "upright_afloat") & capsized,
        "immersion_type",
        "t_capsize_lo_s",
        "t_capsize_hi_s",
        expected="no time of capsize where the cabin stayed upright",
    )


MISHAP_RULES = (
    Rule("R1", _unique_mishaps),
    Rule("R1", _unique_occupants),
    Rule("R2", _known_mishap),
    Rule("R3", _whole_roster),
    Rule("R4", _sum_aboard),
    Rule("R5", _crew_rows),
    Rule("R7", _wave_height),
    Rule("R9", _spans),
    Rule("R27", _capsize_before_sinking),
    Rule("R28", _usable_exits),
    Rule("R29", _floats),
    Rule("R30", _upright),
    Rule("R33", _future),
    Rule("R42", _two_sources),
    Rule("R46", _perhaps_alike),
)
