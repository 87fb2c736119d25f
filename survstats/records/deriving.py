"""What follows from the records, person by person: exposure, outcome, population flags."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.records.loading import Records
from survstats.records.population import EVERYBODY, PopulationFilter, left_out, told_again

TRAINED_STATUS = ("current", "lapsed", "none", "briefing_or_dry_only", "unknown")
HANDS_ON = ("underwater_escape", "underwater_escape_with_breathing_set")
DAYS_PER_MONTH = 30.4375


def died(occupant: pd.DataFrame) -> pd.Series[bool]:
    """Whether each person died of the mishap within 30 days (n occupants).

    Missing and presumed dead counts as died, and so does ``survived`` with a death within 30 days
    (ICAO Annex 13).
    """
    return occupant["outcome"].isin(["died", "missing_presumed_dead"]) | (occupant["days_to_death"] <= 30)


def survived(occupant: pd.DataFrame) -> pd.Series[bool]:
    """Whether each person is known to have lived 30 days (n occupants); who has no outcome neither died nor lived."""
    return occupant["outcome"].eq("survived") & ~died(occupant)


def training_known(occupant: pd.DataFrame) -> pd.Series[bool]:
    """Whether each person's training can be told at all, whatever counts as current (n occupants)."""
    ever, kind = occupant["training_ever"], occupant["training_type"]
    dated = kind.isin(HANDS_ON) & occupant["training_last_date"].notna()
    return (ever == "no") | ((ever == "yes") & (dated | kind.isin(["dry_only", "briefing_only"])))


def looked_up_for_survivors(mishap: pd.DataFrame) -> bool:
    """Whether the records say of every one of these mishaps that training was looked up for survivors only."""
    return len(mishap) > 0 and bool(mishap["status_ascertained_by"].eq("survivors_only").all())


def derive(
    records: Records, *, currency_months: float, population: PopulationFilter = EVERYBODY
) -> pd.DataFrame:
    """One row per occupant row, in file order, with the mishap's fields and what follows from them.

    Parameters
    ----------
    records : Records
        Loaded records; error findings are the caller's affair.
    currency_months : float
        Hands-on training no older than this at the mishap is current.
    population : PopulationFilter, optional
        Whom the study is about; nobody else is in any population.

    Returns
    -------
    DataFrame, n rows
        All occupant and mishap fields, ``file_row``, ``mishap_file_row``, and

        ``trained_status`` : current, lapsed, none, briefing_or_dry_only, unknown (category).
        ``trained`` : 1 current, 0 never, NaN for the rest.
        ``documented`` : the status is known, trained or not, from a certificate or the roster.
        ``months_since`` : months from the last hands-on course to the mishap; a date known to the month
        counts as mid-month, one known to the year as 1 July, never after the mishap.
        ``recency_ambiguous`` : current or lapsed would change within that month or year.
        ``order_ambiguous`` : that month or year reaches past the mishap; the course is taken to come before it.
        ``survived`` : 1 alive 30 days after the mishap, else 0.
        ``died_on_impact`` : ``alive_at_immersion`` is no.
        ``out`` : 1 got out alive or was rescued alive from inside, 0 did not, NaN not known.
        ``era`` : decade of the mishap, as "2010s".
        ``left_out`` : why the study is not about this person (category, missing where it is).
        ``is_passenger``, ``second_source``, ``in_p1``, ``in_p2`` : yes or no.
        ``far_seat`` : "no" beside a usable planned exit, "yes" with a seat or more between, else "unknown";
        ``seats_to_exit`` goes before ``adjacent_exit``.
        ``capsized`` : the cabin capsized or sank, "yes"; stayed upright, "no"; else "unknown".
        ``cold`` : water below 15 degrees Celsius, "yes", "no" or "unknown"; for display only.
        ``coverage_others`` : share trained among the others aboard whose status is known; NaN where none is.
        ``n_rows`` : occupant rows of the mishap.
    """
    again = told_again(records.mishap, population)
    mishap = records.mishap.assign(second_source=again).drop_duplicates("mishap_id")
    mishap = mishap.rename(columns={"file_row": "mishap_file_row"}).set_index("mishap_id")
    joined = mishap.reindex(records.occupant["mishap_id"]).reset_index(drop=True)
    frame = pd.concat([records.occupant.reset_index(drop=True), joined], axis=1)
    frame["second_source"] = frame["second_source"].eq(True)
    frame["left_out"] = left_out(frame, population)
    return frame.assign(**_training(frame, currency_months), **_outcome(frame), **_circumstances(frame)).pipe(
        _with_mishap_shares
    )


def _training(frame: pd.DataFrame, currency_months: float) -> dict[str, Any]:
    earliest, assumed, latest = training_span(frame)
    event = frame["event_date"].to_numpy("datetime64[D]")
    ever, kind = frame["training_ever"], frame["training_type"]
    too_late = earliest > event
    taught = (ever == "yes").to_numpy(bool) & ~too_late
    months = np.where(taught & kind.isin(HANDS_ON), _months(assumed, event), np.nan)
    dated = np.isfinite(months)
    status = np.select(
        [
            dated & (months <= currency_months),
            dated,
            (ever == "no").to_numpy(bool) & ~too_late,
            taught & kind.isin(["dry_only", "briefing_only"]),
        ],
        ["current", "lapsed", "none", "briefing_or_dry_only"],
        default="unknown",
    )
    ambiguous = (_months(earliest, event) <= currency_months) != (_months(latest, event) <= currency_months)
    return {
        "trained_status": pd.Categorical(status, categories=TRAINED_STATUS),
        "trained": np.select([status == "current", status == "none"], [1.0, 0.0], default=np.nan),
        "documented": frame["training_evidence"].isin(["certificate", "roster"]).to_numpy(bool)
        & (status != "unknown"),
        "months_since": months,
        "recency_ambiguous": ambiguous & dated,
        "order_ambiguous": (latest > event) & dated,
    }


def training_span(frame: pd.DataFrame) -> tuple[NDArray[np.datetime64], ...]:
    """Earliest, assumed and latest day of the last course, as far as its date is known (n occupants).

    A date of unknown precision is taken as known to the year.
    """
    day = frame["training_last_date"].to_numpy("datetime64[D]")
    precision = frame["training_date_precision"]
    by_month = (precision == "month").to_numpy(bool)
    by_year = precision.isin(["year", "unknown"]).to_numpy(bool)
    month, year = day.astype("datetime64[M]"), day.astype("datetime64[Y]")
    ends = [
        (month.astype("datetime64[D]"), year.astype("datetime64[D]")),
        (month.astype("datetime64[D]") + 14, (year.astype("datetime64[M]") + 6).astype("datetime64[D]")),
        ((month + 1).astype("datetime64[D]") - 1, (year + 1).astype("datetime64[D]") - 1),
    ]
    return tuple(np.where(by_month, m, np.where(by_year, y, day)) for m, y in ends)


def _months(day: NDArray[np.datetime64], event: NDArray[np.datetime64]) -> NDArray[np.float64]:
    days = (event - day) / np.timedelta64(1, "D")
    return np.maximum(days, 0.0) / DAYS_PER_MONTH


def _outcome(frame: pd.DataFrame) -> dict[str, Any]:
    dead = died(frame).to_numpy(bool)
    on_impact = (frame["alive_at_immersion"] == "no").to_numpy(bool)
    egress = frame["egress_outcome"]
    inside = frame["rescued_inside"].eq("yes")
    left_alive = egress.isin(["self", "assisted"]) | frame["cause_of_death"].isin(
        ["drowning_outside", "hypothermia_cold"]
    )
    stayed, went_back = egress == "not_egressed", frame["re_entered"]
    found_inside = frame["body_location"].eq("inside") & ~went_back.eq("yes")
    perhaps_back = found_inside & went_back.eq("unknown") & ~stayed
    out = np.select(
        [~dead, on_impact, inside, perhaps_back, stayed | found_inside, left_alive],
        [1.0, 0.0, 1.0, np.nan, 0.0, 1.0],
        default=np.nan,
    )
    return {"survived": (~dead).astype(int), "died_on_impact": on_impact, "out": out}


def _circumstances(frame: pd.DataFrame) -> dict[str, Any]:
    seats, beside = frame["seats_to_exit"], frame["adjacent_exit"]
    far = np.select(
        [seats >= 1, seats == 0, beside == "no", beside == "yes"],
        ["yes", "no", "yes", "no"],
        default="unknown",
    )
    water = frame["water_temp_c"]
    cold = np.select([water < 15, water >= 15], ["yes", "no"], default="unknown")
    immersion = frame["immersion_type"]
    capsized = np.select(
        [immersion.isin(["capsized_afloat", "sank"]), immersion.eq("upright_afloat")],
        ["yes", "no"],
        default="unknown",
    )
    decade = (frame["event_date"].dt.year // 10 * 10).astype("Int64").astype("string") + "s"
    mishap_known = frame["mishap_file_row"].notna()
    in_p2 = mishap_known & ~frame["second_source"] & frame["left_out"].isna()
    in_p1 = (
        in_p2
        & (frame["alive_at_immersion"].eq("yes") | (~died(frame) & ~frame["alive_at_immersion"].eq("no")))
        & frame["impact_survivability"].isin(["survivable", "partially_survivable"])
    )
    return {
        "era": decade.fillna("unknown").astype(object),
        "is_passenger": frame["role"].eq("passenger").to_numpy(bool),
        "far_seat": pd.Categorical(far, categories=["no", "yes", "unknown"]),
        "capsized": pd.Categorical(capsized, categories=["no", "yes", "unknown"]),
        "cold": pd.Categorical(cold, categories=["no", "yes", "unknown"]),
        "in_p1": in_p1.to_numpy(bool),
        "in_p2": in_p2.to_numpy(bool),
    }


def _with_mishap_shares(frame: pd.DataFrame) -> pd.DataFrame:
    group = frame["mishap_id"]
    trained = frame["trained"].eq(1).astype(float)
    known = frame["trained_status"].ne("unknown").astype(float)
    others_trained = trained.groupby(group).transform("sum") - trained
    others_known = known.groupby(group).transform("sum") - known
    return frame.assign(
        coverage_others=others_trained / others_known.where(others_known > 0),
        n_rows=known.groupby(group).transform("size"),
    )
