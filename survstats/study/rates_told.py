"""At what rate people get out among those not yet out, trained against untrained, by id."""

from __future__ import annotations

from survstats.effects.egress_rates import draw_times, rates
from survstats.effects.time_model import TimeModel
from survstats.groundwork.resampling import stream
from survstats.study.egress_told import OUT_OR_IN
from survstats.study.results_builder import ResultsBuilder

IDS = ("rates.all", "rates.within", "rates.draws")


def store_rates(out: ResultsBuilder, model: TimeModel | None, *, seed: int) -> None:
    """The ratio of the rates, over all mishaps and within mishaps, with the times inside the bands drawn.

    Parameters
    ----------
    out : ResultsBuilder
    model : TimeModel or None
        Of the times, from `survstats.study.times_told.store_times`; without it nothing can be drawn.
    seed : int
        The study's.
    """
    out.codes["rates.proportional"] = "not_checked"
    if model is None:
        out.leave_out(out.absent.get("egress.time_ratio", "no_rows"), *IDS)
        return
    with out.or_absent(*IDS):
        drawn = draw_times(model, stream(seed, "times_out"))
        with out.or_absent("rates.all"):
            found = rates(model.rows, drawn, within=False)
            out.estimate("rates.all", found.ratio, rests_on=OUT_OR_IN)
            out.codes["rates.proportional"] = found.proportional
        with out.or_absent("rates.within"):
            found = rates(model.rows, drawn, within=True, check=False)
            out.estimate("rates.within", found.ratio, rests_on=OUT_OR_IN)
        out.count("rates.draws", len(drawn.time), rests_on=OUT_OR_IN)
