"""Which log odds ratios compare people of the same mishap only, with covariates?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import ndtri

from survstats.groundwork.errors import NotEstimable, Notice
from survstats.models.design import ALIASED, INTERCEPT, build_design
from survstats.models.fitted import Coefficient, CoefficientTable, FittedLogistic, Usage
from survstats.models.logistic import binary_outcome, check_level

Floats = NDArray[np.float64]

FEWEST = 3  # informative mishaps
TOLERANCE = 1e-10
PASSES = 100
RUNAWAY = 1e-9  # information below this share of that at zero: the fit runs to infinity


def fit_within(
    frame: pd.DataFrame, outcome: str, terms: Sequence[str], *, cluster: str, level: float = 0.95
) -> FittedLogistic:
    """Conditional log odds ratios given how many of each mishap have the outcome.

    The exact conditional likelihood, by recursion over the people of a mishap in log space, and Newton to a
    step of 1e-10.  Whatever is the same for everyone in a mishap drops out.  Standard errors and normal
    limits are those of the conditional information (Breslow & Day 1980, IARC Scientific Publications 32,
    cited from memory).

    Parameters
    ----------
    frame : DataFrame
        n rows without gaps in the columns named.
    outcome : str
        Column of 0 and 1.
    terms : sequence of str
    cluster : str
        Column with the mishap's label.
    level : float

    Raises
    ------
    NotEstimable
        ``few_mishaps`` with fewer than 3 mishaps of both outcomes; ``no_free_column`` where nothing varies
        inside them; ``not_converged`` where outcomes are separated inside mishaps.
    CallError
        ``missing_column``, ``not_binary``.
    """
    check_level(level)
    design = build_design(frame, terms, cluster=cluster)
    y = binary_outcome(frame, outcome)
    strata = _Strata.of(design.matrix[:, 1:], y, design.mishap_codes)
    if strata.mishaps < FEWEST:
        raise NotEstimable(
            "few_mishaps", f"Only {strata.mishaps} mishaps have both outcomes aboard; {FEWEST} are needed."
        )
    names = [name for name in design.columns if name != INTERCEPT]
    kept = _varying(strata)
    if not kept:
        raise NotEstimable("no_free_column", "Nothing in the model varies between people of the same mishap.")
    beta, covariance, likelihood = _newton(strata.only(kept))
    se = np.sqrt(np.diag(covariance))
    half = ndtri((1 + level) / 2) * se
    rows = zip(
        [names[j] for j in kept], beta, se, np.full(len(beta), np.inf), beta - half, beta + half, strict=True
    )
    constant = [name for j, name in enumerate(names) if j not in kept]
    return FittedLogistic(
        table=CoefficientTable(tuple(Coefficient(name, *map(float, row)) for name, *row in rows), level),
        covariance=covariance,
        method="model",
        log_likelihood=likelihood,
        design=design,
        usage=Usage(
            rows=int(strata.sizes.sum()),
            mishaps=strata.mishaps,
            coefficients=len(kept),
            dropped=dict.fromkeys(design.dropped, "aliased")
            | dict.fromkeys(constant, "constant_within_mishaps"),
            rows_without_information=len(y) - int(strata.sizes.sum()),
        ),
        notices=tuple(Notice("aliased_column", {"column": name}) for name in (*design.dropped, *constant)),
        flic_intercept=float("nan"),
    )


class _Strata:
    """Mishaps with both outcomes, largest first, padded to one array."""

    def __init__(
        self, x: Floats, cases: NDArray[np.int64], sizes: NDArray[np.int64], case_sums: Floats
    ) -> None:
        self.x, self.cases, self.sizes, self.case_sums = x, cases, sizes, case_sums

    @classmethod
    def of(cls, matrix: Floats, outcome: Floats, codes: NDArray[np.int64]) -> _Strata:
        """Gather rows by mishap; the rarer outcome is counted, its sign turned where that is outcome 0."""
        sizes = np.bincount(codes)
        ones = np.bincount(codes, weights=outcome).astype(np.int64)
        chosen = np.flatnonzero((ones > 0) & (ones < sizes))
        chosen = chosen[np.argsort(-sizes[chosen], kind="stable")]
        longest = int(sizes[chosen].max(initial=0))
        x = np.zeros((len(chosen), longest, matrix.shape[1]))
        cases, case_sums = np.empty(len(chosen), dtype=np.int64), np.empty((len(chosen), matrix.shape[1]))
        order = np.argsort(codes, kind="stable")
        first = np.concatenate([[0], np.cumsum(sizes)])
        for place, g in enumerate(chosen):
            rows = order[first[g] : first[g + 1]]
            centred = matrix[rows] - matrix[rows].mean(axis=0)
            counted = outcome[rows] == 1
            if 2 * ones[g] > sizes[g]:
                centred, counted = -centred, ~counted
            x[place, : len(rows)] = centred
            cases[place], case_sums[place] = counted.sum(), centred[counted].sum(axis=0)
        return cls(x, cases, sizes[chosen], case_sums)

    @property
    def mishaps(self) -> int:
        return len(self.sizes)

    def only(self, columns: list[int]) -> _Strata:
        return _Strata(self.x[:, :, columns], self.cases, self.sizes, self.case_sums[:, columns])

    def derivatives(self, beta: Floats) -> tuple[float, Floats, Floats]:
        """Conditional log-likelihood, score (k,) and information (k, k).

        ``log_sum[s]`` is the log of the sum over all ways to choose s of the people so far; ``mean[s]`` and
        ``spread[s]`` are mean and covariance of the chosen people's covariate sum.
        """
        g, _, k = self.x.shape
        most = int(self.cases.max())
        log_sum = np.full((g, most + 1), -np.inf)
        log_sum[:, 0] = 0.0
        mean, spread = np.zeros((g, most + 1, k)), np.zeros((g, most + 1, k, k))
        for i in range(int(self.sizes[0])):
            here = int(np.searchsorted(-self.sizes, -i, side="left"))  # mishaps with more than i people
            top = min(i + 1, most)
            old, less = slice(1, top + 1), slice(0, top)
            with_i = log_sum[:here, less] + (self.x[:here, i] @ beta)[:, None]
            total = np.logaddexp(log_sum[:here, old], with_i)
            share = np.exp(with_i - total)[..., None]
            shift = mean[:here, less] + self.x[:here, None, i] - mean[:here, old]
            between = (share * (1 - share) * shift)[..., None] * shift[..., None, :]
            mixed = spread[:here, old] + share[..., None] * (spread[:here, less] - spread[:here, old])
            spread[:here, old] = mixed + between
            mean[:here, old] += share * shift
            log_sum[:here, old] = total
        at = np.arange(g), self.cases
        likelihood = float((self.case_sums @ beta).sum() - log_sum[at].sum())
        return likelihood, (self.case_sums - mean[at]).sum(axis=0), spread[at].sum(axis=0)


def _varying(strata: _Strata) -> list[int]:
    """Columns that vary inside mishaps and are not in the span of those before them."""
    flat = strata.x.reshape(-1, strata.x.shape[2])
    size = np.linalg.norm(flat, axis=0)
    basis, kept = np.empty((len(flat), 0)), list[int]()
    for j, column in enumerate(flat.T):
        rest = column - basis @ (basis.T @ column)
        rest -= basis @ (basis.T @ rest)
        if size[j] > 1e-12 and np.linalg.norm(rest) > ALIASED * size[j]:
            kept.append(j)
            basis = np.column_stack([basis, rest / np.linalg.norm(rest)])
    return kept


def _newton(strata: _Strata) -> tuple[Floats, Floats, float]:
    beta = np.zeros(strata.x.shape[2])
    likelihood, score, information = strata.derivatives(beta)
    scale = np.abs(strata.x).max(axis=(0, 1))
    whitener = np.linalg.inv(np.linalg.cholesky(information))
    for _ in range(PASSES):
        if np.linalg.eigvalsh(whitener @ information @ whitener.T)[0] < RUNAWAY:
            break
        step = np.linalg.solve(information, score)
        if np.abs(step * scale).max() < TOLERANCE:
            covariance = np.asarray(np.linalg.inv(information), dtype=float)
            return beta + step, covariance, likelihood
        fresh = strata.derivatives(beta + step)
        while fresh[0] < likelihood - 1e-12 * abs(likelihood):
            step /= 2
            fresh = strata.derivatives(beta + step)
        beta = beta + step
        likelihood, score, information = fresh
    raise NotEstimable(
        "not_converged",
        "The comparison inside mishaps has no finite answer: one side did better in every way it could.",
        "Use the exact comparison of the single exposure.",
    )
