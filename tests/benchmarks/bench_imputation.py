"""How long do imputation, the pooled effect and the range over delta take, and is the fast road the slow one?

    OPENBLAS_NUM_THREADS=1 python tests/benchmarks/bench_imputation.py [demo_main]

First the range at no tilt is compared with the main estimate's own functions, frame by frame (difference below 1e-8,
else exit code 1). Then the best and the median of five calls are printed, by the wall clock and by the processor's:
where something else is running, only the second says what ours takes. Times are told, not judged (aimed at, one thread,
all three together: 1.5 s on demo_main, 0.7 s on demo_small).
"""

from __future__ import annotations

import statistics
import sys
import time

from survstats.effects.imputation import ImputationPlan, impute
from survstats.effects.imputed_effect import delta_range, imputed_effect
from survstats.effects.risk_model import prepare
from survstats.effects.standardise import standardise
from survstats.groundwork.resampling import stream
from survstats.records.cohort import build_cohort
from survstats.records.demo import demo_folder
from survstats.records.deriving import derive
from survstats.records.loading import read_records

COVARIATES = (
    "role",
    "operator_code",
    "aircraft_class",
    "far_seat",
    "sig_wave_height_m",
    "water_temp_c",
    "light",
)
NAMES = {"outcome": "survived", "exposure": "trained", "covariates": COVARIATES, "cluster": "mishap_id"}
CALLS = 5


def timed(name: str, function):
    """Call, print the best and the median times, and give back what came."""
    found = function()
    print(f"{name:18}", end="")
    for kind, clock in (("wall", time.perf_counter), ("processor", time.process_time)):
        spans = []
        for _ in range(CALLS):
            start = clock()
            function()
            spans.append(clock() - start)
        print(f"{kind} best {min(spans):5.2f} s, median {statistics.median(spans):5.2f} s", end="   ")
    print()
    return found


def main(demo: str) -> int:
    """Compare, time, print."""
    folder = demo_folder(demo)
    records = read_records(folder / "mishap.csv", folder / "occupant.csv")
    people = build_cohort(derive(records, currency_months=24), records, population="P1").frame
    plan = ImputationPlan(COVARIATES, currency_months=24)
    print(f"{demo}: {len(people)} people, {people['mishap_id'].nunique()} mishaps, {plan.draws} draws")
    done = timed("chains", lambda: impute(people, plan=plan, rng=stream(1, "imputation")))
    pooled = timed("pooled effect", lambda: imputed_effect(done, **NAMES))
    points = timed("delta, 21 points", lambda: delta_range(done, **NAMES))
    middle = next(p for p in points if p.delta_dead == p.delta_survivors == 0)
    alone = [
        standardise(prepare(one[one["trained"].notna()], **NAMES)).difference.value for one in done.frames
    ]
    apart = max(abs(found.difference.value - statistics.fmean(alone)) for found in (middle, pooled))
    print(f"no tilt, pooled effect and each frame by itself differ by {apart:.1e}")
    return int(apart > 1e-8)


if __name__ == "__main__":
    sys.exit(main(*(sys.argv[1:] or ["demo_main"])))
