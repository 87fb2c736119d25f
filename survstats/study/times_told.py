"""How long those who got out needed, by id: the model of times where bands are all there is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import get_args

import numpy as np
import pandas as pd

from survstats.effects.out_curves import GroupCurve
from survstats.effects.time_model import TimeModel, fit_times
from survstats.effects.time_out import (
    FAR_OFF,
    difference_by_model,
    fit_distance,
    medians,
    model_curve,
    time_ratio,
)
from survstats.effects.time_rows import TimeRows, time_rows
from survstats.groundwork.errors import NotEstimable
from survstats.models.times.interval_time import Distribution
from survstats.study.egress_told import ARMS, ASKED, COUNTED_AT, LAST, OUT_OR_IN, compared_in, too_few
from survstats.study.estimating import CLUSTER, EXPOSURE, FEWEST_MISHAPS
from survstats.study.results_builder import ResultsBuilder

_PRIMARY: Distribution = "lognormal"
_STEP = 2.0

IDS = (
    *("egress.time_ratio", "egress.median.trained", "egress.median.untrained"),
    *(f"egress.rd_{at:.0f}_model" for at in ASKED),
    *("egress.fit_distance", "egress_models", "egress_model_curve"),
)
_TIMED = tuple(f"egress_people/{at}/timed" for at in (0, 1))


def store_times(
    out: ResultsBuilder,
    frame: pd.DataFrame,
    covariates: Sequence[str],
    curves: Mapping[int, GroupCurve] | None,
) -> TimeModel | None:
    """The model of times: ratio, medians, shares out, its fit, and the same by other distributions.

    Parameters
    ----------
    out : ResultsBuilder
        Holds what `survstats.study.egress_told.store_egress` stores of the same frame.
    frame : DataFrame
        Everyone in the primary population, in an order that their ids do not decide.
    covariates : sequence of str
        What is held equal.
    curves : mapping of int to GroupCurve, or None
        What the model is compared with.

    Returns
    -------
    TimeModel or None
        The primary model, from which times may be drawn; None where there is none.
    """
    compared = compared_in(frame)
    if (mishaps := compared[CLUSTER].nunique()) < FEWEST_MISHAPS:
        out.leave_out(too_few(mishaps), *IDS)
        return None
    with out.or_absent(*IDS):
        rows = time_rows(compared, exposure=EXPOSURE, covariates=covariates, cluster=CLUSTER)
        model = fit_times(rows, distribution=_PRIMARY)
        out.estimate("egress.time_ratio", time_ratio(model), rests_on=_TIMED)
        _store_from_model(out, model, curves)
        _store_models(out, rows, model)
        return model
    return None


def _store_from_model(out: ResultsBuilder, model: TimeModel, curves: Mapping[int, GroupCurve] | None) -> None:
    names = ("egress.median.trained", "egress.median.untrained")
    with out.or_absent(*names):
        for name, found in zip(names, medians(model), strict=True):
            out.estimate(name, found, rests_on=_TIMED)
    for at in ASKED:
        with out.or_absent(f"egress.rd_{at:.0f}_model"):
            out.estimate(f"egress.rd_{at:.0f}_model", difference_by_model(model, at), rests_on=OUT_OR_IN)
    with out.or_absent("egress_model_curve"):
        times = np.arange(0.0, LAST + _STEP, _STEP)
        lines = [
            (arm, float(time), float(share))
            for arm, value in ARMS.items()
            for time, share in zip(times, model_curve(model, value, times), strict=True)
        ]
        out.table("egress_model_curve", ("arm", "time_s", "share"), lines, rests_on=OUT_OR_IN)
    with out.or_absent("egress.fit_distance"):
        if curves is None:
            raise NotEstimable(out.absent["egress_curve"], "There is no curve to compare the model with.")
        distance = fit_distance(model, curves, at=COUNTED_AT)
        out.figure("egress.fit_distance", distance, unit="share", method="turnbull", rests_on=OUT_OR_IN)
        out.codes["egress.fit"] = "off" if distance > FAR_OFF else "close"


def _store_models(out: ResultsBuilder, rows: TimeRows, primary: TimeModel) -> None:
    """The time ratio by each distribution; one that has no fit is not listed."""
    lines = []
    for name in get_args(Distribution):
        try:
            model = primary if name == _PRIMARY else fit_times(rows, distribution=name)
        except NotEstimable as fault:
            out.absent[f"egress_models.{name}"] = fault.reason
            continue
        found = time_ratio(model)
        lines.append((name, found.value, found.low, found.high, model.log_likelihood, float(model.scale[0])))
    out.table(
        "egress_models",
        ("distribution", "time_ratio", "low", "high", "log_likelihood", "scale"),
        lines,
        rests_on=_TIMED,
    )
