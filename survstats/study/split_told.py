"""Where a difference in survival lies, in getting out or in what came after, by id."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from survstats.effects.getting_out import OUT
from survstats.effects.split import split
from survstats.study.egress_told import OUT_OR_IN, too_few
from survstats.study.estimating import CLUSTER, EXPOSURE, FEWEST_MISHAPS, OUTCOME
from survstats.study.results_builder import ResultsBuilder, people

IDS = (
    *("split.rd", "split.getting_out", "split.afterwards"),
    *("split.out_trained", "split.out_untrained", "split.after_trained", "split.after_untrained"),
)
_LIVED = ("split.lived",)


def store_split(out: ResultsBuilder, frame: pd.DataFrame, covariates: Sequence[str]) -> None:
    """The difference in survival of those of whom it is known whether they got out, as two parts.

    Parameters
    ----------
    out : ResultsBuilder
        Holds ``egress_people`` of the same frame.
    frame : DataFrame
        Everyone in the primary population.
    covariates : sequence of str
        What is held equal.
    """
    known = frame.loc[frame[EXPOSURE].notna() & frame[OUT].notna()].reset_index(drop=True)
    if (mishaps := known[CLUSTER].nunique()) < FEWEST_MISHAPS:
        out.leave_out(too_few(mishaps), *IDS)
        return
    with out.or_absent(*IDS):
        found = split(
            known, survived=OUTCOME, out=OUT, exposure=EXPOSURE, covariates=covariates, cluster=CLUSTER
        )
        out.parts["split.lived"] = people(known.loc[known[OUTCOME] == 1, "file_row"]).rows
        parts = {
            "rd": found.difference,
            "getting_out": found.getting_out,
            "afterwards": found.afterwards,
            "out_trained": found.out_trained,
            "out_untrained": found.out_untrained,
            "after_trained": found.after_trained,
            "after_untrained": found.after_untrained,
        }
        for name, estimate in parts.items():
            rests_on = OUT_OR_IN if name.startswith("out_") else (*OUT_OR_IN, *_LIVED)
            out.estimate(f"split.{name}", estimate, rests_on=rests_on)
