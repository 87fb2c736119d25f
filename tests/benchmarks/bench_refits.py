"""2,000 mishap-bootstrap logistic refits, a Firth and a conditional fit: ours against general-purpose peers, one run.

    env -u OPENBLAS_CORETYPE -u OPENBLAS_L2_SIZE OPENBLAS_NUM_THREADS=1 python tests/benchmarks/bench_refits.py [s m l]

Sizes: s is 60 mishaps, m 600, l 15,000.  Results are compared first, then times are printed: processor time, medians of
several calls, the Firth pairs in turn.  The statsmodels loop runs over the first 200 (s), 60 (m) or 4 (l) resamples and
is scaled to 2,000; its row numbers are made beforehand, so that it is timed on its fits alone.  The floor is the
multiply-adds of all our passes as matrix products of doubles.  R's clogit is timed inside R, without R's start, where
Rscript and its package survival are found.  A test environment that pins the BLAS to a generic kernel slows both sides;
the command above lifts that for this run alone and keeps the BLAS to one thread, because two wait for each other
wherever something else runs.
Exit code 1 if results differ; the last lines say which bars are met.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
import time
import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import statsmodels.api as sm
from ditchings import COVARIATES, MISHAPS, simulated
from firthmodels import FirthLogisticRegression
from timing import judge, timed, timed_in_turn

from survstats.groundwork.resampling import bootstrap
from survstats.models import newton
from survstats.models.conditional import fit_within
from survstats.models.kernel import collapse, solve
from survstats.models.penalised import fit_firth

LOOP = {"s": 200, "m": 60, "l": 4}
CALLS = {"s": 7, "m": 7, "l": 3}
FIRTH_CALLS = {"s": 60, "m": 30, "l": 5}
BARS, GOALS = {"s": 35, "m": 30, "l": 150}, {"s": 50, "m": 50, "l": 300}
FLOOR_GOAL = 3.0
REFITS = 2000
INSIDE = ["trained", "row", "pilot", "crew"]
CLOGIT = """
suppressMessages(library(survival)); d <- read.csv(commandArgs(TRUE)[1])
fit <- function() clogit(lived ~ trained + row + pilot + crew + strata(mishap), d, method = "exact")
b <- coef(fit()); t <- replicate(5, sum(system.time(for (i in 1:CALLS) fit())[1:2]) / CALLS)
cat(format(c(median(t), b), digits = 15), "\\n")
"""
R_CALLS = {"s": 20, "m": 10, "l": 1}


def floor(collapsed, weights) -> float:
    """Seconds of the same multiply-adds as products of doubles: sums over mishaps, then each pass as it was made."""
    p, k = collapsed.patterns.shape
    pairs, b = k * (k + 1) // 2, len(weights)
    work = []
    made = {"score": newton.Block.score, "evaluate": newton.Block.evaluate}
    for name, columns in (("score", 2 * k), ("evaluate", 2 * k + pairs)):

        def counted(block, rows, *rest, name=name, columns=columns):
            work.append(columns * rows.shape[1])
            return made[name](block, rows, *rest)

        setattr(newton.Block, name, counted)
    solve(collapsed, weights)
    for name, method in made.items():
        setattr(newton.Block, name, method)
    flops = p * sum(work) + collapsed.counts.nnz * b + weights.size * (2 * k + pairs)
    left, right = np.random.default_rng(0).normal(size=(pairs + 2 * k, 2048)), np.ones((2048, 256))
    one = timed(lambda: left @ right, 50)
    return one * flops / (left.size * right.shape[1])


def refits(size: str, frame: pd.DataFrame, verdicts: list[str]) -> bool:
    """Compare and time the bootstrap refits; whether results agree."""
    x = np.column_stack([np.ones(len(frame)), frame[COVARIATES]])
    y, codes = frame["lived"].to_numpy(float), frame["mishap"].to_numpy()
    weights = bootstrap(MISHAPS[size], REFITS, np.random.default_rng(0))
    collapsed = collapse(x, y, codes)
    solutions = solve(collapsed, weights)
    resamples = [np.repeat(np.arange(len(y)), w[codes].astype(int)) for w in weights[: LOOP[size]]]
    start = time.process_time()
    peer = np.array([sm.Logit(y[rows], x[rows]).fit(disp=0).params for rows in resamples])
    loop = (time.process_time() - start) * REFITS / LOOP[size]
    gap = np.abs(peer - solutions.coefficients[: LOOP[size]]).max()
    ours = timed(lambda: solve(collapse(x, y, codes), weights), CALLS[size])
    least, ratio = floor(collapsed, weights), loop / ours
    print(
        f"size {size}: {len(y):,} occupants, {MISHAPS[size]:,} mishaps, {len(collapsed.patterns):,} patterns"
    )
    print(
        f"  2,000 refits, {solutions.converged.mean():.1%} converged; largest difference over {LOOP[size]}: {gap:.1e}"
    )
    print(f"  statsmodels Logit loop (scaled from {LOOP[size]})  {loop:8.3f} s")
    print(f"  ours, collapsing included                {ours:8.4f} s   {ratio:.0f} times faster")
    print(
        f"  floor: its multiply-adds in one product  {least:8.4f} s   ours {ours / least:.1f} times that",
        flush=True,
    )
    judge(verdicts, f"{size}: refits {ratio:.0f} times faster, bar {BARS[size]}", ratio >= BARS[size])
    judge(verdicts, f"{size}: refits {ratio:.0f} times faster, goal {GOALS[size]}", ratio >= GOALS[size])
    if size == "l":
        judge(
            verdicts,
            f"l: refits {ours / least:.1f} times the floor, goal {FLOOR_GOAL}",
            ours <= FLOOR_GOAL * least,
        )
    return bool(gap < 1e-8)


def firth(size: str, frame: pd.DataFrame, verdicts: list[str]) -> bool:
    """Compare and time one Firth fit, with and without profile limits; whether results agree."""
    x, y = frame[COVARIATES].to_numpy(), frame["lived"].to_numpy()
    peer = FirthLogisticRegression(backend="numpy", gtol=1e-9, xtol=1e-9).fit(x, y)
    gap = np.abs(peer.coef_ - fit_firth(frame, "lived", COVARIATES).table.estimates[1:]).max()
    design, nobody = np.column_stack([np.ones(len(x)), x]), np.zeros(len(y), dtype=int)
    alone, peer_fit = timed_in_turn(
        lambda: solve(collapse(design, y, nobody), [[1.0]], penalty="firth"),
        lambda: FirthLogisticRegression(backend="numpy").fit(x, y),
        times=FIRTH_CALLS[size],
    )
    limits, peer_limits = timed_in_turn(
        lambda: fit_firth(frame, "lived", COVARIATES),
        lambda: FirthLogisticRegression(backend="numpy").fit(x, y).conf_int(method="pl"),
        times=CALLS[size],
    )
    print(f"  Firth: largest difference to firthmodels  {gap:.1e}")
    print(
        f"  Firth fit: ours {1e3 * alone:.1f} ms, firthmodels (numpy, its own tolerance) {1e3 * peer_fit:.1f} ms"
    )
    print(
        f"  with profile limits: ours {1e3 * limits:.0f} ms, firthmodels {1e3 * peer_limits:.0f} ms",
        flush=True,
    )
    judge(verdicts, f"{size}: Firth fit no slower than firthmodels", alone <= peer_fit)
    judge(verdicts, f"{size}: Firth limits no slower than firthmodels", limits <= peer_limits)
    return bool(gap < 1e-6)


def conditional(size: str, frame: pd.DataFrame, verdicts: list[str]) -> bool:
    """Compare and time the exact conditional fit with R's; whether results agree."""
    ours = fit_within(frame, "lived", INSIDE, cluster="mishap").table.estimates
    spent = timed(lambda: fit_within(frame, "lived", INSIDE, cluster="mishap"), CALLS[size])
    told = f"  conditional fit: ours {1e3 * spent:.1f} ms"
    if size != "l":
        from statsmodels.discrete.conditional_models import ConditionalLogit

        start = time.process_time()
        with warnings.catch_warnings():  # it says which groups it leaves out
            warnings.simplefilter("ignore")
            ConditionalLogit(frame["lived"], frame[INSIDE], groups=frame["mishap"]).fit(disp=0)
        slow = time.process_time() - start
        told += f", statsmodels {1e3 * slow:.0f} ms"
        judge(verdicts, f"{size}: conditional fit faster than statsmodels", spent < slow)
    theirs = clogit(size, frame)
    if theirs is None:
        print(told + "; R not found")
        return True
    gap = np.abs(theirs[1:] - ours).max()
    print(told + f", R clogit {1e3 * theirs[0]:.1f} ms; largest difference to R {gap:.1e}", flush=True)
    judge(verdicts, f"{size}: conditional fit no slower than R's clogit", spent <= theirs[0])
    return bool(gap < 1e-5)


def clogit(size: str, frame: pd.DataFrame) -> np.ndarray | None:
    """Processor seconds and coefficients of R's clogit(method = "exact"), or nothing where R is not found."""
    if not shutil.which("Rscript"):
        return None
    with tempfile.TemporaryDirectory() as place:
        data, script = Path(place) / "data.csv", Path(place) / "clogit.R"
        frame.to_csv(data, index=False)
        script.write_text(CLOGIT.replace("CALLS", str(R_CALLS[size])))
        done = subprocess.run(["Rscript", script, data], capture_output=True, text=True, check=False)
    return np.array(done.stdout.split(), dtype=float) if done.returncode == 0 else None


def main(sizes: list[str]) -> int:
    """Compare, time, judge."""
    verdicts: list[str] = []
    same = True
    for size in sizes:
        frame = simulated(MISHAPS[size])
        for part in (refits, firth, conditional):
            same = part(size, frame, verdicts) and same
    print("\n".join(verdicts))
    print("results agree" if same else "RESULTS DIFFER")
    return int(not same)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:] or list(MISHAPS)))
