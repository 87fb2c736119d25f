"""Which fields are unknown or empty, and more often for the dead?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.records.loading import Records


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


def known_of(records: Records, derived: pd.DataFrame, covariates: Sequence[str]) -> pd.DataFrame:
    """What is known of each person (n occupants): one true-or-false column per question a board would ask.

    ``trained_status``; ``training_papers`` (a certificate or the roster says so); ``alive_at_immersion``;
    ``seat_place`` (row and side); ``exit_place`` (how far an exit was; not where a covariate asks that already);
    ``time_out`` and ``exit_used`` (nothing to know of who did not get out, unless it was never asked of anybody);
    ``cause_of_death`` (nothing to know of survivors; an undetermined cause is not known); and the covariates. What is
    not applicable leaves nothing to know.
    """
    inside = derived["egress_outcome"].eq("not_egressed")
    low, high = derived["egress_lo_s"].fillna(0), derived["egress_hi_s"].fillna(np.inf)
    answers = {
        "trained_status": derived["trained_status"].ne("unknown"),
        "training_papers": derived["documented"],
        "alive_at_immersion": _given(derived["alive_at_immersion"]),
        "seat_place": _given(derived["seat_row"]) & _given(derived["seat_side"]),
        "exit_place": derived["far_seat"].ne("unknown") | _given(derived["exit_distance_m"]),
        "time_out": _or_inside((low > 0) | np.isfinite(high), inside),
        "exit_used": _or_inside(_given(derived["exit_used"]), inside),
        "cause_of_death": derived["survived"].eq(1)
        | (_given(derived["cause_of_death"]) & derived["cause_of_death"].ne("undetermined")),
    }
    if not {"far_seat", "seats_to_exit", "exit_distance_m"}.isdisjoint(covariates):
        del answers["exit_place"]
    texts = {table: texts_of_people(records, derived, table) for table in ("mishap", "occupant")}
    for name in covariates:
        answers.setdefault(name, _given(derived[name]))
    for name in answers:
        for cells in texts.values():
            if name in cells and name != "cause_of_death":
                answers[name] = answers[name] | (cells[name].to_numpy() == "na")
    return pd.DataFrame({name: np.asarray(known, dtype=bool) for name, known in answers.items()})


def worst_first(
    known: pd.DataFrame, lived: NDArray[np.bool_], *, most: int, asked_of_dead: Sequence[str] = ()
) -> list[str]:
    """Fields in order of how much less is known of the dead than of survivors; the ``most`` with the largest gaps.

    Parameters
    ----------
    known : DataFrame
        True or false, people by fields.
    lived : array of bool, shape (n,)
    most : int
        Kept are the fields with the largest share unknown in either group.
    asked_of_dead : sequence of str, optional
        Fields that nobody asks of survivors: there is no difference in them.
    """
    dead_known, alive_known = _shares(known[~lived]), _shares(known[lived])
    alive_known = alive_known.where(~known.columns.isin(list(asked_of_dead)), dead_known)
    unknown = pd.DataFrame({"dead": 1 - dead_known, "alive": 1 - alive_known}).max(axis=1)
    largest = unknown.sort_values(ascending=False, kind="stable")
    kept = largest.index[:most]
    order = pd.DataFrame({"difference": (alive_known - dead_known)[kept], "unknown": largest[kept]})
    return list(order.sort_values(["difference", "unknown"], ascending=False, kind="stable").index)


def lacking(known: pd.DataFrame) -> NDArray[np.object_]:
    """The names of the fields that are not known of each person, a blank between; empty where all are (n people)."""
    names = known.columns.to_numpy()
    patterns, which = np.unique(~known.to_numpy(bool), axis=0, return_inverse=True)
    combinations = np.array([" ".join(names[pattern]) for pattern in patterns], dtype=object)
    return combinations[which.reshape(-1)]


def _given(column: pd.Series) -> pd.Series[bool]:
    return column.notna() & ~column.astype(object).isin(["unknown"])


def _or_inside(given: pd.Series[bool], inside: pd.Series[bool]) -> pd.Series[bool]:
    return given | inside if given.any() else given


def _shares(known: pd.DataFrame) -> pd.Series[float]:
    """Share known of each field; of nobody all is known."""
    return known.mean() if len(known) else pd.Series(1.0, index=known.columns)
