"""How well the main model fits, and on which mishaps it leans, by id."""

from __future__ import annotations

import numpy as np
import pandas as pd

from survstats.groundwork.errors import NotEstimable
from survstats.models.adequacy import (
    calibration,
    events_per_parameter,
    influence,
    leverage_by_mishap,
    out_of_mishap_risk,
)
from survstats.models.fitted import Coefficient
from survstats.study.counting import COMPARED
from survstats.study.estimating import MainEstimate
from survstats.study.results import Number
from survstats.study.results_builder import ResultsBuilder, people

_LEVEL = 0.95
IDS = (
    *("adequacy.events_per_column", "adequacy.calibration_slope", "adequacy.calibration_intercept"),
    *("adequacy.largest_leverage", "calibration", "influence"),
)


def store_adequacy(out: ResultsBuilder, frame: pd.DataFrame, main: MainEstimate) -> None:
    """Events per column, calibration out of the mishap, leverage and influence of each mishap.

    All are read from the one pass of fits behind the main estimate. ``frame`` are the people compared, in the order
    of the model's rows.
    """
    model, coefficients = main.refits.model, main.refits.coefficients
    matrix, codes = model.design.matrix, model.design.mishap_codes
    events = events_per_parameter(model.outcome, len(model.design.columns) - 1)
    out.figure("adequacy.events_per_column", events, unit="ratio", method="counted", rests_on=COMPARED)
    with out.or_absent("adequacy.largest_leverage", "influence"):
        leverage = leverage_by_mishap(matrix, codes, coefficients[0])
        effect = main.effect
        found = influence(
            effect.difference.value,
            effect.leave_one_out[:, 0] - effect.leave_one_out[:, 1],
            leverage=leverage,
            codes=codes,
            labels=model.design.mishap_labels,
        )
        rows_of = frame.groupby("mishap_id")["file_row"].agg(list).to_dict()
        out.figure(
            "adequacy.largest_leverage",
            float(leverage.max()),
            unit="columns",
            method="leverage",
            rests_on=COMPARED,
        )
        out.table(
            "influence",
            ("mishap", "occupants", "leverage", "change"),
            [(str(one.mishap), people(rows_of[one.mishap]), one.leverage, one.change) for one in found],
            rests_on=COMPARED,
        )
    with out.or_absent("adequacy.calibration_slope", "adequacy.calibration_intercept", "calibration"):
        risk = out_of_mishap_risk(matrix, codes, coefficients[1:])
        _store_calibration(out, risk, model.outcome, codes, frame["file_row"].to_numpy())


def _store_calibration(
    out: ResultsBuilder,
    risk: np.ndarray[tuple[int], np.dtype[np.float64]],
    outcome: np.ndarray[tuple[int], np.dtype[np.float64]],
    codes: np.ndarray[tuple[int], np.dtype[np.int64]],
    file_rows: np.ndarray[tuple[int], np.dtype[np.int64]],
) -> None:
    found = calibration(risk, outcome, codes, level=_LEVEL)
    for name, unit, row in (("slope", "slope", found.slope), ("intercept", "log_odds", found.intercept)):
        out.number(f"adequacy.calibration_{name}", _number(row, unit), rests_on=COMPARED)
    out.codes["adequacy.calibration"] = reading_of(found.slope)
    out.table(
        "calibration",
        ("from_risk", "to_risk", "occupants", "predicted", "survived_share", "low", "high"),
        [
            (
                one.from_risk,
                one.to_risk,
                people(file_rows[(risk >= one.from_risk) & (risk <= one.to_risk)]),
                one.predicted,
                one.observed,
                one.low,
                one.high,
            )
            for one in found.bins
        ],
        rests_on=COMPARED,
    )


def reading_of(slope: Coefficient) -> str:
    """What the slope says of risks predicted without the person's own mishap.

    ``no_better`` than giving everyone the same risk where 0 or less may be the slope, ``too_sure`` where it is below 1
    for certain, else ``fits``.
    """
    if slope.low <= 0:
        return "no_better"
    return "too_sure" if slope.high < 1 else "fits"


def _number(row: Coefficient, unit: str) -> Number:
    if not np.isfinite([row.estimate, row.low, row.high]).all():
        raise NotEstimable("not_converged", "The calibration has no finite limits.")
    return Number(row.estimate, unit, "calibration", row.low, row.high, _LEVEL, row.df)
