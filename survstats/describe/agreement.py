"""Do two people who coded the same mishaps agree?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats
from statsmodels.stats.inter_rater import cohens_kappa

from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate

FEWEST_PAIRS = 10
SURVIVABILITY = ("survivable", "partially_survivable", "none")
SEVERITY = (1, 2, 3, 4, 5)
_LEVEL = 0.95


def coded_twice(mishap: pd.DataFrame, field: str, codes: Sequence[str | int]) -> NDArray[np.int64]:
    """How often each pair of codes was given to one mishap, shape (k codes, k codes): first coder by second.

    Mishaps that either coder left open are not counted, nor those whose second coder is the first again.
    """
    pair = mishap[[field, f"{field}_second"]].astype(object)
    same_person = mishap["coder_id"].notna() & (mishap["coder_id"] == mishap["second_coder_id"])
    pair = pair[pair.isin(list(codes)).all(axis=1) & ~same_person]
    place = {code: position for position, code in enumerate(codes)}
    counts = np.zeros((len(codes), len(codes)), dtype=np.int64)
    np.add.at(counts, tuple(pair[name].map(place).to_numpy(np.int64) for name in pair.columns), 1)
    return counts


def weighted_kappa(counts: NDArray[np.int64]) -> Estimate:
    """Cohen's weighted kappa of ordered codes: 1 full agreement, 0 what chance alone would give.

    Weights fall in equal steps with the distance of the two codes (Cohen 1968, doi:10.1037/h0026256): quadratic
    weights would let coders who are one step apart throughout look nearly alike, and rise with the number of
    codes. The interval has the large-sample error of Fleiss, Cohen and Everitt 1969 (doi:10.1037/h0028106). Where
    all pairs agree that error is 0; the lower limit is then that of the exact limit of the share that differ, each
    taken as wholly apart.

    Parameters
    ----------
    counts : array of int, shape (k codes, k codes)
        Mishaps, first coder by second.

    Raises
    ------
    NotEstimable
        ``not_double_coded`` without any pair, ``few_pairs`` with fewer than ten, ``one_code_only`` where both
        coders used one and the same code throughout.
    """
    pairs = int(counts.sum())
    if pairs == 0:
        raise NotEstimable("not_double_coded", "No mishap was coded by a second person.")
    if pairs < FEWEST_PAIRS:
        raise NotEstimable("few_pairs", f"Only {pairs} mishaps were coded by two people.")
    used = (counts.sum(axis=0) > 0) | (counts.sum(axis=1) > 0)
    if used.sum() == 1:
        raise NotEstimable("one_code_only", "Both coders gave one and the same code throughout.")
    found = cohens_kappa(counts, wt="linear")
    value, error = float(found.kappa), float(found.std_kappa)
    reach = stats.norm.ppf((1 + _LEVEL) / 2) * error
    low, high = max(value - reach, -1.0), min(value + reach, 1.0)
    if np.trace(counts) == pairs:
        low, high = max(_low_of_full_agreement(counts), -1.0), 1.0
    return Estimate(
        value=value,
        low=low,
        high=high,
        se=error,
        level=_LEVEL,
        df=float("inf"),
        scale="identity",
        unit="ratio",
        method="weighted_kappa",
        mishaps=pairs,
        occupants=0,
    )


def _low_of_full_agreement(counts: NDArray[np.int64]) -> float:
    """Lower limit of kappa where no pair differs."""
    pairs, k = counts.sum(), len(counts)
    most_apart = 1 - ((1 - _LEVEL) / 2) ** (1 / pairs)  # exact upper limit of a share of none
    distance = np.abs(np.subtract.outer(np.arange(k), np.arange(k))) / (k - 1)
    shares = counts.sum(axis=1) / pairs, counts.sum(axis=0) / pairs
    expected = float((distance * np.outer(*shares)).sum())
    return float(1 - most_apart / expected)
