"""Which fields are unknown or empty, and more often for the dead?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.records.loading import Records

#: What every comparison asks of a person, beside the covariates.
NEEDED = ("trained_status", "alive_at_immersion", "impact_survivability")
_SEAT_FIELDS = {
    "seat_place": ("seat_row", "seat_side"),
    "seat_side": ("seat_side",),
    "seat_facing": ("seat_facing",),
    "harness": ("harness",),
}


def missing_by_outcome(records: Records, derived: pd.DataFrame) -> pd.DataFrame:
    """Cells that are empty, ``unknown`` or ``na``, per field, among the dead and among survivors.

    A mishap's field counts once for each of its occupants. Only people the study is about are counted (``in_p2``).

    Parameters
    ----------
    records : Records
        The records, with their texts.
    derived : DataFrame
        The derived frame of the same records, one row per occupant row in file order.

    Returns
    -------
    DataFrame
        ``table``, ``field``, then ``empty_died``, ``unknown_died``, ``na_died``, ``died`` and the same for
        ``survived``; one row per field of the mishap and occupant tables.
    """
    counted = derived["in_p2"].to_numpy(bool)
    lived = derived["survived"].to_numpy() == 1
    rows = []
    for table in ("mishap", "occupant"):
        texts = texts_of_people(records, derived, table)
        for field in texts.columns:
            cells = texts[field].to_numpy()
            row: dict[str, str | int] = {"table": table, "field": field}
            for fate, chosen in (("died", counted & ~lived), ("survived", counted & lived)):
                row[f"empty_{fate}"] = int((cells[chosen] == "").sum())
                row[f"unknown_{fate}"] = int((cells[chosen] == "unknown").sum())
                row[f"na_{fate}"] = int((cells[chosen] == "na").sum())
                row[fate] = int(chosen.sum())
            rows.append(row)
    return pd.DataFrame(rows)


def texts_of_people(records: Records, derived: pd.DataFrame, table: str) -> pd.DataFrame:
    """The texts of each occupant's own row, or of the mishap's row (n occupants, in the order of ``derived``)."""
    if table == "occupant":
        return records.raw["occupant"].fillna("")
    mishap = records.raw["mishap"].drop_duplicates("mishap_id").set_index("mishap_id", drop=False)
    home = mishap.reindex(derived["mishap_id"])
    home.index.name = None
    return home.fillna("")


@dataclass(frozen=True)
class Known:
    """What is known of each person, one column per question a board would ask (n occupants).

    Attributes
    ----------
    known : DataFrame
        True where it is known.
    applies : DataFrame
        The same rows and columns: True where there is something to know.
    """

    known: pd.DataFrame
    applies: pd.DataFrame

    def of(self, people: NDArray[np.bool_]) -> Known:
        """The same of some people."""
        return Known(self.known[people], self.applies[people])


def known_of(records: Records, derived: pd.DataFrame, covariates: Sequence[str]) -> Known:
    """What is known of each person: what the comparison needs, and what else a board would ask.

    ``trained_status``; ``alive_at_immersion``; ``impact_survivability``; ``training_papers`` (a certificate or the
    roster says so); ``seat_place`` (row and side); ``exit_place`` (how far an exit was; not where a covariate asks
    that already); ``time_out`` and ``exit_used`` (not of who stayed inside); ``cause_of_death`` (not of survivors; an
    undetermined cause is not known); and the covariates.

    ``na`` is no answer but where there can be nothing to know: the seat and the harness of technical crew, who may
    have worked without a seat.
    """
    low, high = derived["egress_lo_s"].fillna(0), derived["egress_hi_s"].fillna(np.inf)
    answers = {
        "trained_status": derived["trained_status"].ne("unknown"),
        "alive_at_immersion": _given(derived["alive_at_immersion"]),
        "impact_survivability": _given(derived["impact_survivability"]),
        "training_papers": derived["documented"],
        "seat_place": _given(derived["seat_row"]) & _given(derived["seat_side"]),
        "exit_place": derived["far_seat"].ne("unknown") | _given(derived["exit_distance_m"]),
        "time_out": (low > 0) | np.isfinite(high),
        "exit_used": _given(derived["exit_used"]),
        "cause_of_death": _given(derived["cause_of_death"]) & derived["cause_of_death"].ne("undetermined"),
    }
    if not {"far_seat", "seats_to_exit", "exit_distance_m"}.isdisjoint(covariates):
        del answers["exit_place"]
    for name in covariates:
        answers.setdefault(name, _given(derived[name]))
    known = pd.DataFrame({name: np.asarray(known, dtype=bool) for name, known in answers.items()})
    return Known(known, _applies(records, derived, list(answers)))


def _applies(records: Records, derived: pd.DataFrame, names: Sequence[str]) -> pd.DataFrame:
    """Whether there is something to know of each person under each name (n occupants)."""
    stayed = derived["egress_outcome"].eq("not_egressed") | derived["out"].eq(0)
    applies = pd.DataFrame(True, index=range(len(derived)), columns=list(names))
    applies["time_out"] = applies["exit_used"] = ~stayed.to_numpy(bool)
    applies["cause_of_death"] = derived["survived"].eq(0).to_numpy(bool)
    standing = derived["role"].eq("technical_crew").to_numpy(bool)
    texts = texts_of_people(records, derived, "occupant")
    for name, fields in _SEAT_FIELDS.items():
        if name in applies:
            applies[name] = ~(standing & texts[list(fields)].isin(["na"]).any(axis=1).to_numpy(bool))
    return applies


def complete(known: Known, derived: pd.DataFrame, covariates: Sequence[str]) -> NDArray[np.bool_]:
    """Whether everything the comparison needs is known of each person: `NEEDED` and the covariates (n occupants).

    Who survived was alive at immersion, whether or not that is recorded.
    """
    answers = known.known | ~known.applies
    answers["alive_at_immersion"] |= derived["survived"].eq(1).to_numpy(bool)
    return answers[[*NEEDED, *covariates]].all(axis=1).to_numpy(bool)


def worst_first(known: Known, lived: NDArray[np.bool_], *, most: int) -> list[str]:
    """Fields in order of how much less is known of the dead than of survivors; the ``most`` with the largest gaps.

    Parameters
    ----------
    known : Known
    lived : array of bool, shape (n,)
    most : int
        Kept are the fields with the largest share unknown in either group. In a field that concerns one of the two
        groups alone there is no difference.
    """
    dead, alive = _shares(known.of(~lived)), _shares(known.of(lived))
    unknown = pd.DataFrame({"dead": 1 - dead, "alive": 1 - alive}).max(axis=1).fillna(0.0)
    largest = unknown.sort_values(ascending=False, kind="stable")
    kept = largest.index[:most]
    order = pd.DataFrame({"difference": (alive - dead).fillna(0.0)[kept], "unknown": largest[kept]})
    return list(order.sort_values(["difference", "unknown"], ascending=False, kind="stable").index)


def lacking(known: Known, names: Sequence[str]) -> NDArray[np.object_]:
    """Which of these fields are not known of each person, a blank between; empty where all are (n people)."""
    gaps = (~known.known & known.applies)[list(names)].to_numpy(bool)
    patterns, which = np.unique(gaps, axis=0, return_inverse=True)
    combinations = np.array([" ".join(np.array(names)[pattern]) for pattern in patterns], dtype=object)
    return combinations[which.reshape(-1)]


def _given(column: pd.Series) -> pd.Series[bool]:
    return column.notna() & ~column.astype(object).isin(["unknown", "na"])


def _shares(known: Known) -> pd.Series[float]:
    """Share known of each field among those it concerns; NaN where it concerns nobody."""
    return (known.known & known.applies).sum() / known.applies.sum().replace(0, np.nan)
