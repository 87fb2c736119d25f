"""Shares that met each cause and their mishap bootstrap, curves of bands: ours against general-purpose peers, one run.

    env -u OPENBLAS_CORETYPE -u OPENBLAS_L2_SIZE OPENBLAS_NUM_THREADS=1 python tests/benchmarks/bench_curves.py [s m l]

Sizes: s is 60 mishaps, m 600 (4,276 people), l 15,000 (105,501).  Results are compared first, then times are printed:
processor time, medians of several calls, the pairs in turn.  scikit-survival's estimate is exact; lifelines' moves the
times of different causes that tie by a random jitter, so its shares are near ours and no more.  scikit-survival is no
dependency of the package: where it is absent that comparison is left out, and said to be.
Exit code 1 if results differ; the last lines say which bars are met.
"""

from __future__ import annotations

import sys
import warnings

import numpy as np
import pandas as pd
from ditchings import MISHAPS, simulated
from lifelines import AalenJohansenFitter
from timing import judge, timed_in_turn

from survstats.groundwork.resampling import LeaveOneOut, bootstrap
from survstats.models.times.curves import area_refits, cumulative_incidence, incidence_refits
from survstats.models.times.turnbull import interval_curve, interval_refits

try:
    from sksurv.nonparametric import cumulative_incidence_competing_risks as exact_peer
except ImportError:
    exact_peer = None

CALLS = {"s": 31, "m": 31, "l": 11}
PEER_CALLS = {"s": 5, "m": 5, "l": 1}
REPLICATES = 2000
AT = [10.0, 20.0, 60.0]
#: Seconds for 2,000 bootstraps at m, and for both groups of a study with each mishap left out.
BOOTSTRAP_BAR, BANDS_BAR = 0.4, 0.3


def curves(size: str, frame: pd.DataFrame, verdicts: list[str]) -> bool:
    """Compare and time one curve; whether results agree."""
    seconds, cause = frame["time"].to_numpy(), frame["cause"].to_numpy()
    ours = cumulative_incidence(seconds, cause)
    same = True
    if exact_peer is None:
        spent = timed_in_turn(lambda: cumulative_incidence(seconds, cause), times=CALLS[size])[0]
        print(f"  one curve: ours {1e3 * spent:.2f} ms; scikit-survival is not installed, so not compared")
    else:
        times, shares = exact_peer(cause, seconds)
        theirs = shares[1:, np.searchsorted(times, ours.times)]
        gap = np.abs(theirs - ours.incidence).max()
        same = gap < 1e-10
        spent, peer = timed_in_turn(
            lambda: cumulative_incidence(seconds, cause),
            lambda: exact_peer(cause, seconds),
            times=CALLS[size],
        )
        print(
            f"  one curve: ours {1e3 * spent:.2f} ms, scikit-survival {1e3 * peer:.2f} ms ({peer / spent:.1f} times); "
            f"largest difference {gap:.1e}"
        )
        judge(
            verdicts,
            f"{size}: one curve {peer / spent:.1f} times scikit-survival's speed, bar 1",
            spent <= peer,
        )
    with warnings.catch_warnings():  # that it jitters
        warnings.simplefilter("ignore")
        fit = AalenJohansenFitter(seed=1, calculate_variance=False)
        fitted = fit.fit(seconds, cause, event_of_interest=1).cumulative_density_
        slow = timed_in_turn(lambda: fit.fit(seconds, cause, event_of_interest=1), times=PEER_CALLS[size])[0]
    near = np.abs(fitted.iloc[-1, 0] - ours.incidence[0, -1])
    print(
        f"  lifelines {1e3 * slow:.1f} ms ({slow / spent:.0f} times), last share {near:.1e} from ours",
        flush=True,
    )
    return bool(same and near < 0.01)


def refits(size: str, frame: pd.DataFrame, verdicts: list[str]) -> bool:
    """Compare and time the mishap bootstrap; whether it is the curve of each replicate."""
    seconds, cause, mishap = (frame[name].to_numpy() for name in ("time", "cause", "mishap"))
    weights = bootstrap(MISHAPS[size], REPLICATES if size != "l" else 200, np.random.default_rng(0))
    found = incidence_refits(seconds, cause, mishap, weights, of=1, at=AT)
    gap = 0.0
    for row in range(5):
        curve = cumulative_incidence(seconds, cause, weights=weights[row][mishap])
        own = curve.incidence[0, np.searchsorted(curve.times, AT, side="right") - 1]
        gap = max(gap, np.abs(found[row] - own).max())
    spent, area = timed_in_turn(
        lambda: incidence_refits(seconds, cause, mishap, weights, of=1, at=AT),
        lambda: area_refits(seconds, cause, mishap, weights, of=1, until=60),
        times=min(CALLS[size], 11),
    )
    print(
        f"  {len(weights):,} bootstraps of mishaps: {spent:.4f} s, of the area {area:.4f} s; difference {gap:.1e}"
    )
    if size == "m":
        judge(verdicts, f"m: 2,000 bootstraps in {spent:.3f} s, bar {BOOTSTRAP_BAR}", spent <= BOOTSTRAP_BAR)
    return bool(gap < 1e-12)


def bands(size: str, frame: pd.DataFrame, verdicts: list[str]) -> bool:
    """Time curves of bands of two groups, each mishap left out; whether points give the curve without bands."""
    part = frame[frame["mishap"] < 60]
    rng = np.random.default_rng(1)
    width = rng.choice([0, 5, 10], len(part))
    lo = np.where(width > 0, np.floor(part["time"] / 10) * 10, part["time"])
    ever = np.where(part["cause"] == 1, 1.0, np.where(part["cause"] == 2, 0.0, np.nan))
    groups = [(part["trained"] == group).to_numpy() for group in (0, 1)]
    codes = part["mishap"].to_numpy()

    def both() -> None:
        for group in groups:
            interval_curve(lo[group], lo[group] + width[group], ever[group])
            interval_refits(lo[group], lo[group] + width[group], ever[group], codes[group], LeaveOneOut(60))

    known = part[part["cause"] > 0]
    point = interval_curve(known["time"], known["time"], known["cause"] == 1)
    exact = cumulative_incidence(known["time"], known["cause"]).incidence[0]
    gap = np.abs(np.cumsum(point.mass) - np.unique(exact[exact > 0])).max()
    spent = timed_in_turn(both, times=CALLS["s"])[0]
    print(
        f"  bands, {len(part)} people, 60 mishaps left out each: {spent:.4f} s; points: difference {gap:.1e}"
    )
    judge(verdicts, f"{size}: bands in {spent:.3f} s, bar {BANDS_BAR}", spent <= BANDS_BAR)
    return bool(gap < 1e-11)


def main(sizes: list[str]) -> int:
    """Compare, time, judge."""
    verdicts: list[str] = []
    same = True
    for size in sizes:
        frame = simulated(MISHAPS[size])
        print(
            f"size {size}: {len(frame):,} people, {MISHAPS[size]:,} mishaps, {frame['time'].nunique()} times"
        )
        for part in (curves, refits, bands) if size == "s" else (curves, refits):
            same = part(size, frame, verdicts) and same
    print("\n".join(verdicts))
    print("results agree" if same else "RESULTS DIFFER")
    return int(not same)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:] or list(MISHAPS)))
