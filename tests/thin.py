"""Studies that are in order but hold too little, made from the small demo study."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pandas as pd

from survstats.records.demo import demo_folder

Tables = tuple[pd.DataFrame, pd.DataFrame]


def read_tables(folder: Path) -> Tables:
    """Mishaps and occupants as texts."""
    pair = [pd.read_csv(folder / f"{name}.csv", dtype=str, keep_default_na=False) for name in _NAMES]
    return pair[0], pair[1]


def write_tables(folder: Path, tables: Tables) -> None:
    for name, table in zip(_NAMES, tables, strict=True):
        table.to_csv(folder / f"{name}.csv", index=False, lineterminator="\n")


def thin_study(name: str, folder: Path) -> Path:
    """Write the thin study ``name`` to a new folder."""
    source = demo_folder("demo_small")
    shutil.copytree(source, folder)
    write_tables(folder, THIN[name](*read_tables(source)))
    return folder


_NAMES = ("mishap", "occupant")
_LIVED = {
    "outcome": "survived",
    "alive_at_immersion": "yes",
    "egress_outcome": "self",
    "egress_lo_s": "",
    "egress_hi_s": "",
    "injury_class_icao": "none",
    "days_to_death": "",
    "cause_of_death": "na",
    "cause_source": "none",
    "body_location": "na",
    "t_death_lo_s": "",
    "t_death_hi_s": "",
}
_DIED = {
    **_LIVED,
    "outcome": "died",
    "egress_outcome": "not_egressed",
    "injury_class_icao": "fatal",
    "cause_of_death": "drowning_inside",
    "body_location": "inside",
    "rescued_inside": "no",
    "t_rescue_min": "",
}
_NEVER = {
    "training_ever": "no",
    "training_type": "none",
    "training_last_date": "",
    "training_date_precision": "",
    "training_evidence": "roster",
    "n_prior_courses": "0",
}
_UNKNOWN = {
    "training_ever": "unknown",
    "training_type": "unknown",
    "training_last_date": "",
    "training_date_precision": "",
    "training_evidence": "none",
    "n_prior_courses": "unknown",
}


def _current(mishap: pd.DataFrame, occupant: pd.DataFrame) -> dict[str, object]:
    event = pd.to_datetime(occupant["mishap_id"].map(mishap.set_index("mishap_id")["event_date"]))
    return {
        "training_ever": "yes",
        "training_type": "underwater_escape",
        "training_last_date": (event - pd.Timedelta(days=100)).dt.strftime("%Y-%m-%d"),
        "training_date_precision": "day",
        "training_evidence": "certificate",
        "n_prior_courses": "1",
    }


def _everyone(**changes: str) -> Callable[[pd.DataFrame, pd.DataFrame], Tables]:
    return lambda mishap, occupant: (mishap, occupant.assign(**changes))


def _first(mishaps: int) -> Callable[[pd.DataFrame, pd.DataFrame], Tables]:
    def keep(mishap: pd.DataFrame, occupant: pd.DataFrame) -> Tables:
        kept = mishap.iloc[:mishaps]
        return kept, occupant[occupant["mishap_id"].isin(kept["mishap_id"])]

    return keep


def _one_occupant(mishap: pd.DataFrame, occupant: pd.DataFrame) -> Tables:
    alone = mishap.iloc[:1].assign(n_crew="1", n_pax="0", n_aboard="1")
    person = occupant[occupant["mishap_id"].isin(alone["mishap_id"])].iloc[:1]
    return alone, person.assign(role="flight_crew", **_LIVED, **_current(alone, person))


def _survivors_asked(mishap: pd.DataFrame, occupant: pd.DataFrame) -> Tables:
    dead = occupant["outcome"] != "survived"
    asked = occupant.copy()
    for field, value in _UNKNOWN.items():
        asked[field] = asked[field].mask(dead, value)
    return mishap.assign(status_ascertained_by="survivors_only"), asked


THIN: dict[str, Callable[[pd.DataFrame, pd.DataFrame], Tables]] = {
    "everyone_trained": lambda mishap, occupant: (mishap, occupant.assign(**_current(mishap, occupant))),
    "nobody_trained": _everyone(**_NEVER),
    "nobody_died": _everyone(**_LIVED),
    "all_died": _everyone(**_DIED),
    "one_mishap": _first(1),
    "two_mishaps": _first(2),
    "seven_mishaps": _first(7),
    "survivors_asked": _survivors_asked,
    "one_occupant": _one_occupant,
    "empty_covariate": lambda mishap, occupant: (mishap.assign(water_temp_c=""), occupant),
    "only_unknown": _everyone(**_UNKNOWN),
    "nobody_alive_at_flooding": _everyone(**_DIED | {"alive_at_immersion": "unknown"}),
}
