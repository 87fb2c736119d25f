"""A Cox fit with errors over mishaps, and 2,000 mishap-bootstrap refits: ours against lifelines and R, one run.

    env -u OPENBLAS_CORETYPE -u OPENBLAS_L2_SIZE OPENBLAS_NUM_THREADS=1 python tests/benchmarks/bench_cox.py [s m l]

Sizes: s is 60 mishaps, m 600, l 15,000; times are whole seconds, so that many tie.  The point estimate takes ties
after Efron, the resampling after Breslow (a mishap drawn twice is then exactly its rows written twice).  Results are
compared first, then times are printed: processor time, medians of several calls.  R's loop of coxph.fit runs over the
first 200 (s) or 60 (m) resamples, in R and without R's start, once with each handling of ties, its row numbers made
beforehand, and is scaled to 2,000; its results are compared under Breslow's.  The bars, set for size m, are against the
quicker of its two loops.  lifelines and R are left out at size l, where they need most of a minute each; where
Rscript or its package survival is not found, R is left out with a sentence.  A test environment that pins the BLAS to
a generic kernel slows our side; the command above lifts that for this run alone and keeps the BLAS to one thread.
Exit code 1 if results differ; the last lines say which bars are met.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
import warnings
from pathlib import Path

import numpy as np
import pandas as pd
from ditchings import COVARIATES, MISHAPS, simulated
from timing import judge, timed

from survstats.groundwork.resampling import bootstrap
from survstats.models.times.cox import fit_cox
from survstats.models.times.cox_refits import refit_cox

LOOP = {"s": 200, "m": 60}
CALLS = {"s": 15, "m": 9, "l": 3}
REFITS = {"s": 2000, "m": 2000, "l": 64}
R_SCRIPT = """
suppressMessages(library(survival)); a <- commandArgs(TRUE)
d <- read.csv(a[1]); w <- as.matrix(read.csv(a[2], header = FALSE))
x <- as.matrix(d[setdiff(names(d), c("mishap", "time", "out"))])
rows <- lapply(seq_len(nrow(w)), function(i) rep(seq_len(nrow(d)), w[i, d$mishap + 1])); y <- Surv(d$time, d$out)
spent <- function(f) sum(system.time(f())[1:2])
fit <- function() coxph(y ~ x, cluster = d$mishap)
m <- fit(); cat(median(replicate(5, spent(fit))), coef(m), sqrt(diag(vcov(m))), "\\n")
loop <- function(ties) t(sapply(rows, function(i) coxph.fit(x[i, ], y[i], NULL, NULL, NULL, coxph.control(), NULL, ties,
  as.character(seq_along(i)))$coefficients))
for (ties in c("efron", "breslow")) cat(spent(function() b <<- loop(ties)), "\\n")
write.table(format(b, digits = 15), a[3], row.names = FALSE, col.names = FALSE, quote = FALSE)
"""


def getting_out(mishaps: int) -> pd.DataFrame:
    """The simulated occupants with ``out``: whether getting out came first; all else ends the watch."""
    frame = simulated(mishaps)
    out = (frame["cause"] == 1).astype(int)
    return frame[[*COVARIATES, "mishap", "time"]].assign(out=out)


def by_lifelines(frame: pd.DataFrame):
    """lifelines' fit with its errors over mishaps."""
    from lifelines import CoxPHFitter

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return CoxPHFitter().fit(frame, "time", "out", cluster_col="mishap")


def by_r(frame: pd.DataFrame, weights: np.ndarray) -> tuple[np.ndarray, list[float], np.ndarray] | None:
    """R's fit (seconds, coefficients, errors), seconds of its two loops, and coefficients of the second."""
    if not shutil.which("Rscript"):
        return None
    with tempfile.TemporaryDirectory() as place:
        data, drawn, fits, script = (
            Path(place) / name for name in ("data.csv", "drawn.csv", "fits.txt", "cox.R")
        )
        frame.to_csv(data, index=False)
        np.savetxt(drawn, weights, fmt="%d", delimiter=",")
        script.write_text(R_SCRIPT)
        done = subprocess.run(
            ["Rscript", script, data, drawn, fits], capture_output=True, text=True, check=False
        )
        if done.returncode:
            return None
        first, *loops = done.stdout.strip().splitlines()
        return np.array(first.split(), float), [float(line) for line in loops], np.loadtxt(fits)


def clustered(size: str, frame: pd.DataFrame, verdicts: list[str]) -> bool:
    """Compare and time the fit with errors over mishaps beside lifelines; whether coefficients agree."""
    x, when, out, codes = (
        frame[COVARIATES].to_numpy(),
        frame["time"],
        frame["out"],
        frame["mishap"].to_numpy(),
    )
    fit = fit_cox(x, when, out, codes=codes)
    ours = timed(lambda: fit_cox(x, when, out, codes=codes), CALLS[size])
    print(f"size {size}: {len(frame):,} occupants, {MISHAPS[size]:,} mishaps, {int(out.sum()):,} out")
    if size == "l":
        print(f"  clustered fit: ours {ours:.3f} s")
        judge(verdicts, f"l: clustered fit in {ours:.2f} s, bar 2 s", ours <= 2)
        return True
    peer = by_lifelines(frame)
    gap = np.abs(peer.params_ - fit.coefficients).max()
    apart = np.abs(peer.standard_errors_ / fit.se - 1).max()
    theirs = timed(lambda: by_lifelines(frame), 3)
    print(
        f"  lifelines: largest difference {gap:.1e}; its errors, which do not know of ties, up to {apart:.1%} off"
    )
    print(
        f"  clustered fit: ours {1e3 * ours:.1f} ms, lifelines {1e3 * theirs:.0f} ms   {theirs / ours:.0f} times faster"
    )
    judge(
        verdicts,
        f"{size}: clustered fit {theirs / ours:.0f} times faster than lifelines, bar 5",
        theirs >= 5 * ours,
    )
    return bool(gap < 1e-5)


def refits(size: str, frame: pd.DataFrame, verdicts: list[str]) -> bool:
    """Compare and time the bootstrap refits beside R's; whether results agree."""
    x, when, out, codes = (
        frame[COVARIATES].to_numpy(),
        frame["time"],
        frame["out"],
        frame["mishap"].to_numpy(),
    )
    weights = bootstrap(MISHAPS[size], REFITS[size], np.random.default_rng(0))
    fitted = refit_cox(x, when, out, codes, weights)
    scale = 2000 / REFITS[size]
    ours = scale * timed(lambda: refit_cox(x, when, out, codes, weights), CALLS[size])
    told = "" if scale == 1 else f" (scaled from {REFITS[size]})"
    print(
        f"  2,000 refits: ours {ours:.3f} s{told}, {1 - np.isnan(fitted).any(axis=1).mean():.1%} with an answer"
    )
    if size == "l":
        return True
    answer = by_r(frame, weights[: LOOP[size]])
    if answer is None:
        print("  R or its package survival was not found: not compared")
        return True
    single, loops, theirs = answer
    k = len(COVARIATES)
    fit = fit_cox(x, when, out, codes=codes)
    gap = np.abs(np.r_[single[1 : k + 1] - fit.coefficients, single[k + 1 :] / fit.se - 1]).max()
    apart = np.abs(theirs - fitted[: len(theirs)]).max()
    efron, breslow = (loop * 2000 / LOOP[size] for loop in loops)
    print(f"  R: coefficients and clustered errors within {gap:.1e}, {len(theirs)} refits within {apart:.1e}")
    print(
        f"  R coxph.fit loop (scaled from {LOOP[size]}): Efron {efron:.2f} s, Breslow {breslow:.2f} s",
        flush=True,
    )
    print(
        f"  ours {efron / ours:.0f} and {breslow / ours:.0f} times faster; R's clustered fit {1e3 * single[0]:.1f} ms"
    )
    for word, bar in (("bar", 6), ("goal", 10)) if size == "m" else ():
        ratio = min(efron, breslow) / ours
        judge(
            verdicts,
            f"{size}: refits {ratio:.1f} times faster than R's coxph.fit, {word} {bar}",
            ratio >= bar,
        )
    return bool(gap < 1e-6 and apart < 1e-6)


def main(sizes: list[str]) -> int:
    """Compare, time, judge."""
    verdicts: list[str] = []
    same = True
    for size in sizes:
        frame = getting_out(MISHAPS[size])
        for part in (clustered, refits):
            same = part(size, frame, verdicts) and same
    print("\n".join(verdicts))
    print("results agree" if same else "RESULTS DIFFER")
    return int(not same)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:] or list(MISHAPS)))
