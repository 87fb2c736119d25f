"""How do time and memory grow from 400 to 100,000 occupants?

    env -u OPENBLAS_CORETYPE -u OPENBLAS_L2_SIZE OPENBLAS_NUM_THREADS=1 python tests/benchmarks/bench_growth.py

A logistic fit, a Firth fit, 2,000 mishap-bootstrap refits, and the jackknife pass (each mishap left out once, risks
standardised with everyone and with nobody exposed).  Each size in a process of its own; processor time, the best of
three calls; peak memory as the operating system saw it.  Exit code 1 if the growth exponent or the memory is over its
bar.
"""

from __future__ import annotations

import json
import math
import resource
import subprocess
import sys
import time

import numpy as np

MISHAPS = (60, 600, 6_000, 15_000)
GROWTH, MEMORY_MB = 1.1, 1536.0


def spent(function, calls: int = 3) -> float:
    """Least processor seconds of some calls."""
    spans = []
    for _ in range(calls):
        start = time.process_time()
        function()
        spans.append(time.process_time() - start)
    return min(spans)


def measured(mishaps: int) -> dict[str, float]:
    """Seconds of each task and the peak memory at one size."""
    from bench_refits import COVARIATES, simulated

    from survstats.groundwork.resampling import bootstrap, leave_one_out
    from survstats.models.kernel import collapse, mean_risk, solve

    frame = simulated(mishaps)
    x = np.column_stack([np.ones(len(frame)), frame[COVARIATES]])
    y, codes = frame["lived"].to_numpy(float), frame["mishap"].to_numpy()
    exposed, unexposed = x.copy(), x.copy()
    exposed[:, 1], unexposed[:, 1] = 1.0, 0.0
    everyone = np.ones((1, mishaps))
    without = leave_one_out(mishaps)

    def jackknife() -> None:
        fits = solve(collapse(x, y, codes), without).coefficients
        for matrix in (exposed, unexposed):
            mean_risk(matrix, codes, without, fits)

    tasks = {
        "fit": lambda: solve(collapse(x, y, codes), everyone),
        "Firth fit": lambda: solve(collapse(x, y, codes), everyone, penalty="firth"),
        "jackknife pass": jackknife,
    }
    seconds = {name: spent(task) for name, task in tasks.items()}
    weights = bootstrap(mishaps, 2000, np.random.default_rng(0))
    seconds["2,000 refits"] = spent(lambda: solve(collapse(x, y, codes), weights))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return {"occupants": len(y), "megabytes": peak, **seconds}


def main() -> int:
    """Measure each size in its own process, then judge."""
    runs = []
    for mishaps in MISHAPS:
        command = [sys.executable, __file__, str(mishaps)]
        runs.append(json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout))
        print("  ".join(f"{name} {value:,.4g}" for name, value in runs[-1].items()), flush=True)
    met = True
    for task in list(runs[0])[2:]:
        rows = math.log(runs[-1]["occupants"] / runs[0]["occupants"])
        growth = math.log(runs[-1][task] / runs[0][task]) / rows
        last = math.log(runs[-1][task] / runs[-2][task]) / math.log(
            runs[-1]["occupants"] / runs[-2]["occupants"]
        )
        met = met and growth <= GROWTH
        word = "met    " if growth <= GROWTH else "NOT MET"
        print(f"{word}  {task}: growth exponent {growth:.2f} (last step {last:.2f})")
    peak = max(run["megabytes"] for run in runs)
    print(
        f"{'met    ' if peak <= MEMORY_MB else 'NOT MET'}  peak memory {peak:,.0f} MB, bar {MEMORY_MB:,.0f}"
    )
    return int(not (met and peak <= MEMORY_MB))


if __name__ == "__main__":
    if len(sys.argv) > 1:
        print(json.dumps(measured(int(sys.argv[1]))))
        sys.exit()
    sys.exit(main())
