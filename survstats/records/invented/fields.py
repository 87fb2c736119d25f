"""What would have been written down about invented mishaps: records with gaps and errors, on purpose.

Fields the world does not use are drawn on their own from the shares stated here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.records.codebook import load_codebook
from survstats.records.invented.worlds import LONGEST_SINCE_MONTHS, World
from survstats.records.sea_state import WAVE_BOUNDS_M

FIRST_DAY, LAST_DAY = np.datetime64("1996-01-01"), np.datetime64("2025-12-31")
SEA_STATE_MISSING = 0.08
NOT_RECOVERED = 0.06
CAUSE_UNDETERMINED = 0.12
STATUS_UNKNOWN = {"survived": 0.04, "died": 0.28}
MISCODED = {"survived": 0.02, "died": 0.05}
YEAR_ONLY = 0.20
SECOND_SOURCE = 0.01
TIMES = {"band": 0.5, "self_estimate": 0.3, "missing": 0.2}
BRIEFED = 0.10  # of those without hands-on training
CODED_TWICE = 0.6
CODERS_AGREE = {"survivability": 0.9, "severity": 0.75}

Texts = NDArray[np.object_]


def written_down(
    world: World, rng: np.random.Generator, *, survivors_only: bool
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The mishap and the occupant table of a world, as texts, with the codebook's columns.

    Parameters
    ----------
    world : World
        What truly happened.
    rng : Generator
        Source of all draws.
    survivors_only : bool
        Whether training was looked up for survivors alone: it is then unknown for every dead person.
    """
    mishap = _mishap_fields(world, rng, survivors_only)
    mishap |= _second_coding(mishap, rng.spawn(1)[0])
    occupant = _occupant_fields(world, mishap, rng)
    occupant |= _training_fields(world, mishap["event_date"], rng, survivors_only)
    reached = pd.Series(np.where(occupant["outcome"] == "survived", occupant["t_rescue_min"], np.nan)).astype(
        float
    )
    last = reached.groupby(occupant["mishap_id"]).max().reindex(mishap["mishap_id"]).to_numpy()
    mishap["rescue_last_recovered_min"] = np.where(np.isnan(last), "na", _whole(np.nan_to_num(last)))
    tables = _in_order(mishap, "mishap"), _in_order(occupant, "occupant")
    return _again_from_elsewhere(*tables, rng)


def _mishap_fields(world: World, rng: np.random.Generator, survivors_only: bool) -> dict[str, Texts]:
    truth, g = world.mishap, len(world.mishap)
    days = np.sort(rng.integers(0, int((LAST_DAY - FIRST_DAY).astype(int)) + 1, g))
    wave = np.maximum(np.round(truth["wave_m"].to_numpy(), 1), 0.1)
    no_sea = rng.random(g) < SEA_STATE_MISSING
    capsized = truth["capsized"].to_numpy()
    sank = capsized & (rng.random(g) < 0.3)
    capsize = rng.integers(0, 30, g)
    capsize_end = capsize + rng.integers(5, 30, g)
    sink = capsize_end + rng.integers(10, 200, g)
    warning = rng.integers(0, 60, g)
    exits = np.array([{"A": 4, "B": 2, "C": 6}[c[0]] for c in truth["aircraft_class"]])
    fitted = rng.random(g) < 0.9
    deployed = fitted & (rng.random(g) < 0.75)
    first_asset = rng.integers(10, 90, g)
    return {
        "mishap_id": _texts(f"VS-{i + 1:0{max(3, len(str(g)))}d}" for i in range(g)),
        "event_date": (FIRST_DAY + days).astype(str).astype(object),
        "event_time_utc": _texts(f"{h:02d}:{m:02d}" for h, m in rng.integers([0, 0], [24, 60], (g, 2))),
        "time_precision": _draw(rng, g, {"exact": 0.6, "hour": 0.3, "part_of_day": 0.1}),
        "operator_code": truth["operator_code"].to_numpy(object),
        "region_code": _texts(["vesper_shelf"] * g),
        "aircraft_class": truth["aircraft_class"].to_numpy(object),
        "n_crew": _whole(truth["n_crew"].to_numpy()),
        "n_pax": _whole(truth["n_pax"].to_numpy()),
        "n_aboard": _whole((truth["n_crew"] + truth["n_pax"]).to_numpy()),
        "flight_phase": _draw(
            rng, g, {"cruise": 0.45, "approach": 0.25, "takeoff": 0.12, "hover": 0.1, "unknown": 0.08}
        ),
        "event_type": _draw(
            rng,
            g,
            {
                "ditching_controlled": 0.45,
                "water_impact_limited_control": 0.3,
                "water_impact_uncontrolled": 0.2,
                "unknown": 0.05,
            },
        ),
        "warning_time_s_lo": _whole(warning),
        "warning_time_s_hi": _whole(warning + rng.integers(5, 60, g)),
        "impact_survivability": _draw(
            rng, g, {"survivable": 0.7, "partially_survivable": 0.26, "unknown": 0.04}
        ),
        "impact_survivability_rationale": _texts(["invented"] * g),
        "impact_severity": _draw(rng, g, {"1": 0.2, "2": 0.3, "3": 0.25, "4": 0.15, "unknown": 0.1}),
        "sea_state_wmo": np.where(
            no_sea, "unknown", _whole(np.searchsorted(WAVE_BOUNDS_M, wave, side="left"))
        ),
        "sig_wave_height_m": np.where(no_sea, "unknown", _tenths(wave)),
        "sea_state_source": np.where(
            no_sea, "unknown", _draw(rng, g, {"measured": 0.4, "hindcast": 0.4, "reported": 0.2})
        ),
        "water_temp_c": _tenths(truth["water_c"].to_numpy()),
        "air_temp_c": _tenths(truth["water_c"].to_numpy() + rng.normal(0, 3, g)),
        "wind_kt": _whole(rng.integers(2, 45, g)),
        "light": np.where(truth["night"], "night", _draw(rng, g, {"day": 0.85, "dusk_dawn": 0.15})),
        "floats_fitted": _yes(fitted),
        "floats_armed": _yes(deployed | (fitted & (rng.random(g) < 0.5))),
        "floats_deployed": _yes(deployed),
        "immersion_type": np.select(
            [sank, capsized, rng.random(g) < 0.9], ["sank", "capsized_afloat", "upright_afloat"], "partial"
        ),
        "t_capsize_lo_s": np.where(capsized, _whole(capsize), ""),
        "t_capsize_hi_s": np.where(capsized, _whole(capsize_end), ""),
        "t_sink_lo_s": np.where(sank, _whole(sink), ""),
        "t_sink_hi_s": np.where(sank, _whole(sink + rng.integers(5, 100, g)), ""),
        "exits_total": _whole(exits),
        "exits_usable": _whole(exits - rng.integers(0, exits // 2 + 1)),
        "rescue_first_asset_min": _whole(first_asset),
        "seat_choice": _draw(rng, g, {"assigned": 0.8, "free": 0.15, "unknown": 0.05}),
        "report_source": _texts(["investigation_file"] * g),
        "report_quality": _draw(rng, g, {"A": 0.5, "B": 0.35, "C": 0.15}),
        "status_ascertained_by": _texts(["survivors_only" if survivors_only else "roster_all"] * g),
        "coder_id": _draw(rng, g, {"k1": 0.5, "k2": 0.5}),
        "coding_date": (np.datetime64("2026-02-02") + rng.integers(0, 60, g)).astype(str).astype(object),
        "coded_blind": _texts(["yes"] * g),
    }


def _second_coding(mishap: Mapping[str, Texts], rng: np.random.Generator) -> dict[str, Texts]:
    """What another coder saw in some of the mishaps: mostly the same, else a step away."""
    g = len(mishap["mishap_id"])
    coded = rng.random(g) < CODED_TWICE
    survivability, severity = mishap["impact_survivability"], mishap["impact_severity"]
    other = np.where(survivability == "survivable", "partially_survivable", "survivable")
    agree = rng.random(g) < CODERS_AGREE["survivability"]
    steps = np.where(rng.random(g) < CODERS_AGREE["severity"], 0, rng.choice([-1, 1], g))
    known = severity != "unknown"
    moved = _whole(np.clip(np.where(known, severity, "1").astype(int) + steps, 1, 5))
    return {
        "second_coder_id": np.where(coded, np.where(mishap["coder_id"] == "k1", "k2", "k1"), ""),
        "impact_survivability_second": np.where(coded, np.where(agree, survivability, other), ""),
        "impact_severity_second": np.where(coded, np.where(known, moved, "unknown"), ""),
    }


def _occupant_fields(world: World, mishap: Mapping[str, Texts], rng: np.random.Generator) -> dict[str, Texts]:
    person, n = world.occupant, len(world.occupant)
    g = person["mishap"].to_numpy()
    place = person.groupby("mishap").cumcount().to_numpy()
    crew, far = person["crew"].to_numpy(), person["far"].to_numpy()
    lived, out = person["survived"].to_numpy(), person["out"].to_numpy()
    impact = person["impact_death"].to_numpy()
    lost = ~lived & (rng.random(n) < NOT_RECOVERED)
    drifted = ~lived & ~impact & out & ~lost
    seats = np.where(far, rng.integers(1, 4, n), 0)
    issued = rng.random(n) < 0.5
    undetermined = lost | (rng.random(n) < CAUSE_UNDETERMINED)
    afloat = _draw(rng, n, {"drowning_outside": 0.6, "hypothermia_cold": 0.4})
    cause = np.select(
        [lived, undetermined, impact, drifted],
        ["na", "undetermined", "impact_trauma", afloat],
        "drowning_inside",
    )
    picked_up = mishap["rescue_first_asset_min"][g].astype(int) + rng.integers(0, 20, n)
    low, high, source = _times_out(person["time_out_s"].to_numpy(), lived, rng)
    return {
        "mishap_id": mishap["mishap_id"][g],
        "occupant_id": _texts(f"{p + 1:02d}" for p in place),
        "role": np.where(crew, "flight_crew", "passenger"),
        "age_band": _ages(rng, n),
        "sex": _draw(rng, n, {"male": 0.9, "female": 0.1}),
        "seat_row": _whole(place // 2 + 1),
        "seat_side": np.where(place % 2 == 0, "L", "R"),
        "seat_facing": np.where(crew, "fwd", _draw(rng, n, {"fwd": 0.8, "aft": 0.2})),
        "exit_distance_m": _tenths(0.5 + 0.6 * seats + rng.uniform(0, 0.4, n)),
        "seats_to_exit": _whole(seats),
        "adjacent_exit": _yes(~far),
        "n_prior_courses": _draw(rng, n, {"unknown": 1.0}),
        "offshore_hours_band": _draw(
            rng,
            n,
            {"under_100": 0.2, "100_to_499": 0.3, "500_to_1999": 0.3, "2000_plus": 0.1, "unknown": 0.1},
        ),
        "suit_worn": _yes(person["suit"].to_numpy()),
        "lifejacket_worn": _yes(rng.random(n) < 0.95),
        "ebs_issued": _yes(issued),
        "ebs_used": np.where(issued & out & ~impact, _draw(rng, n, {"yes": 0.4, "no": 0.6}), "no"),
        "ebs_issued_regardless_of_training": _texts(["yes"] * n),
        "harness": np.where(crew, "4pt", _draw(rng, n, {"3pt": 0.7, "lap": 0.3})),
        "brace_adopted": _draw(rng, n, {"yes": 0.6, "no": 0.1, "unknown": 0.3}),
        "alive_at_immersion": np.select([lost, impact], ["unknown", "no"], "yes"),
        "conscious_at_immersion": np.select(
            [lost, impact], ["unknown", "no"], _draw(rng, n, {"yes": 0.85, "unknown": 0.15})
        ),
        "egress_outcome": np.select(
            [lost, lived | drifted],
            ["unknown", _draw(rng, n, {"self": 0.8, "assisted": 0.15, "washed_out": 0.05})],
            "not_egressed",
        ),
        "egress_lo_s": low,
        "egress_hi_s": high,
        "egress_time_source": source,
        "exit_used": _texts([""] * n),
        "exit_opened_by": np.where(
            lived, _draw(rng, n, {"self": 0.4, "other_occupant": 0.4, "already_open": 0.2}), "unknown"
        ),
        "t_death_lo_s": _texts([""] * n),
        "t_death_hi_s": _texts([""] * n),
        "rescued_inside": _texts(["no"] * n),
        "re_entered": _texts(["no"] * n),
        "raft_boarded": np.where(lived, _draw(rng, n, {"yes": 0.6, "no": 0.4}), "unknown"),
        "t_rescue_min": np.where(lived | drifted, _whole(picked_up), ""),
        "outcome": np.select([lived, lost], ["survived", "missing_presumed_dead"], "died"),
        "injury_class_icao": np.where(
            lived, _draw(rng, n, {"none": 0.3, "minor": 0.45, "serious": 0.25}), "fatal"
        ),
        "days_to_death": np.select([lived, lost], ["", "unknown"], "0"),
        "cause_of_death": cause,
        "cause_source": np.select(
            [lived, undetermined], ["", "none"], _draw(rng, n, {"autopsy": 0.6, "external_exam": 0.4})
        ),
        "body_location": np.select([lived, lost, drifted], ["na", "not_recovered", "outside"], "inside"),
    }


def _training_fields(
    world: World, event_dates: Texts, rng: np.random.Generator, survivors_only: bool
) -> dict[str, Texts]:
    """Training as it was written down: gaps, slips and coarse dates, more of them for the dead."""
    person, n = world.occupant, len(world.occupant)
    lived = person["survived"].to_numpy()
    slip = rng.random(n) < np.where(lived, MISCODED["survived"], MISCODED["died"])
    gap = rng.random(n) < np.where(lived, STATUS_UNKNOWN["survived"], STATUS_UNKNOWN["died"])
    if survivors_only:
        gap = gap | ~lived
    hands_on = person["trained"].to_numpy() ^ slip
    briefed = ~hands_on & (rng.random(n) < BRIEFED)
    months = np.where(person["trained"], person["months_since"], rng.uniform(0, LONGEST_SINCE_MONTHS, n))
    days_before = np.round(months * 30.4375).astype(int).astype("timedelta64[D]")
    day = event_dates[person["mishap"].to_numpy()].astype("datetime64[D]") - days_before
    by_year = rng.random(n) < YEAR_ONLY
    written = np.where(
        by_year, (day.astype("datetime64[Y]").astype("datetime64[M]") + 6).astype("datetime64[D]"), day
    )
    course = _draw(rng, n, {"underwater_escape": 0.8, "underwater_escape_with_breathing_set": 0.2})
    said_by = np.where(lived, "self_report", "next_of_kin")
    basis = _draw(rng, n, {"certificate": 0.5, "roster": 0.25, "said": 0.15, "inferred": 0.1})
    basis = np.where(~hands_on & (basis == "certificate"), "roster", basis)
    return {
        "training_ever": np.select([gap, hands_on | briefed], ["unknown", "yes"], "no"),
        "training_type": np.select([gap, hands_on, briefed], ["unknown", course, "briefing_only"], "none"),
        "training_last_date": np.select([gap, hands_on], ["unknown", written.astype(str)], "na"),
        "training_date_precision": np.select([gap, ~hands_on, by_year], ["unknown", "na", "year"], "day"),
        "training_evidence": np.select([gap, basis == "said"], ["none", said_by], basis),
    }


def _times_out(
    seconds: NDArray[np.float64], lived: NDArray[np.bool_], rng: np.random.Generator
) -> tuple[Texts, Texts, Texts]:
    """Time out of the living: a witness's band of 10 s, the person's own guess, or nothing."""
    n = len(seconds)
    kind = np.where(lived, _draw(rng, n, TIMES), "missing")
    low = np.floor(seconds / 10) * 10
    guess = np.maximum(np.round(seconds / 5) * 5, 5)
    own = kind == "self_estimate"
    lows = np.select([kind == "band", own], [_whole(low), _tenths(guess / 1.5)], "")
    highs = np.select([kind == "band", own], [_whole(low + 10), _tenths(guess * 1.5)], "")
    return lows, highs, np.select([kind == "band", own], ["witness", "self_estimate"], "")


def _again_from_elsewhere(
    mishap: pd.DataFrame, occupant: pd.DataFrame, rng: np.random.Generator
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Some mishaps stand in the records once more, from a second source, under another id."""
    again = mishap.loc[rng.random(len(mishap)) < SECOND_SOURCE, "mishap_id"]
    copies = mishap[mishap["mishap_id"].isin(again)].assign(report_source="press", report_quality="D")
    people = occupant[occupant["mishap_id"].isin(again)].copy()
    for table in (copies, people):
        table["mishap_id"] = "P-" + table["mishap_id"].astype(str)
    return pd.concat([mishap, copies], ignore_index=True), pd.concat([occupant, people], ignore_index=True)


def _in_order(columns: Mapping[str, Texts], table: str) -> pd.DataFrame:
    fields = load_codebook().table("mishap" if table == "mishap" else "occupant")
    return pd.DataFrame({field.name: columns[field.name] for field in fields}, dtype=object)


def _ages(rng: np.random.Generator, n: int) -> Texts:
    band = np.clip(rng.normal(42, 10, n), 20, 64).astype(int) // 5 * 5
    return _texts(f"{low}_to_{low + 4}" for low in band)


def _draw(rng: np.random.Generator, n: int, shares: Mapping[str, float]) -> Texts:
    return rng.choice(np.array(list(shares), dtype=object), n, p=list(shares.values()))


def _yes(flag: NDArray[np.bool_]) -> Texts:
    return np.where(flag, "yes", "no").astype(object)


def _whole(numbers: NDArray[np.integer] | NDArray[np.floating]) -> Texts:
    return _texts(f"{number:.0f}" for number in numbers)


def _tenths(numbers: NDArray[np.floating]) -> Texts:
    return _texts(f"{number:.1f}" for number in numbers)


def _texts(values: Iterable[str]) -> Texts:
    return np.array(list(values), dtype=object)
