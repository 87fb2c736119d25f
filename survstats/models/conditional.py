"""Which log odds ratios compare people of the same mishap only, with covariates?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import ndtri

from survstats.groundwork.errors import NotEstimable, Notice
from survstats.models.design import ALIASED, INTERCEPT, build_design
from survstats.models.fitted import Coefficient, CoefficientTable, FittedLogistic, Usage
from survstats.models.logistic import binary_outcome, check_level
from survstats.models.packed import packing

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

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


@dataclass(frozen=True)
class _Strata:
    """Mishaps with both outcomes; their people stand mishap after mishap.

    Attributes
    ----------
    x : (n, k) array
        Centred in each mishap; the sign is turned where outcome 0 is the rarer and is counted instead.
    sizes, cases : (g,) arrays of int
        People aboard, and how many of them have the outcome counted.
    case_sums : (g, k) array
        Sums of ``x`` over those.
    """

    x: Floats
    sizes: Whole
    cases: Whole
    case_sums: Floats

    @classmethod
    def of(cls, matrix: Floats, outcome: Floats, codes: Whole) -> _Strata:
        """Gather the rows of mishaps with both outcomes."""
        sizes, ones = np.bincount(codes), np.bincount(codes, weights=outcome).astype(np.int64)
        order = np.argsort(codes, kind="stable")
        order = order[((ones > 0) & (ones < sizes))[codes[order]]]
        labels, mishap = np.unique(codes[order], return_inverse=True)
        sizes, ones = sizes[labels], ones[labels]
        sign = np.where(2 * ones > sizes, -1.0, 1.0)
        counted = (outcome[order] == 1) == (sign[mishap] > 0)
        begin = np.cumsum(sizes) - sizes
        means = np.add.reduceat(matrix[order], begin, axis=0) / sizes[:, None]
        x = (matrix[order] - means[mishap]) * sign[mishap, None]
        case_sums = np.add.reduceat(x * counted[:, None], begin, axis=0)
        return cls(x, sizes, np.minimum(ones, sizes - ones), case_sums)

    @property
    def mishaps(self) -> int:
        return len(self.sizes)

    def only(self, columns: list[int]) -> _Strata:
        return replace(self, x=self.x[:, columns], case_sums=self.case_sums[:, columns])

    @cached_property
    def first(self) -> Whole:
        """Where each mishap's cells begin: one for each number of people chosen, from none to its cases."""
        return np.cumsum(self.cases + 1) - self.cases - 1

    @cached_property
    def turns(self) -> tuple[tuple[Whole, Whole], ...]:
        """Turn by turn one more person of every mishap: the cells that change, and that person's row.

        Only numbers chosen from which a mishap's cases can still be reached are followed.
        """
        rows, turns = np.cumsum(self.sizes) - self.sizes, []
        for i in range(int(self.sizes.max())):
            here = np.flatnonzero(self.sizes > i)
            least = np.maximum(1, self.cases[here] - (self.sizes[here] - 1 - i))
            width = np.minimum(self.cases[here], i + 1) - least + 1
            within = np.arange(width.sum()) - np.repeat(np.cumsum(width) - width, width)
            turns.append(
                (np.repeat(self.first[here] + least, width) + within, np.repeat(rows[here] + i, width))
            )
        return tuple(turns)

    def derivatives(self, beta: Floats) -> tuple[float, Floats, Floats]:
        """Conditional log-likelihood, score (k,) and information (k, k).

        Of each cell ``log_sum`` is the log of the sum over all ways to choose so many of the people so far;
        ``mean`` and ``spread`` are mean and covariance, packed, of the chosen people's covariate sum.
        """
        of, cells, x, linear = (
            packing(len(beta)),
            int(self.cases.sum()) + self.mishaps,
            self.x.T,
            self.x @ beta,
        )
        log_sum = np.full(cells, -np.inf)
        log_sum[self.first] = 0.0
        mean, spread = np.zeros((len(beta), cells)), np.zeros((len(of.left), cells))
        for cell, row in self.turns:
            with_row = log_sum[cell - 1] + linear[row]
            total = np.logaddexp(log_sum[cell], with_row)
            share = np.exp(with_row - total)
            old, same = mean.take(cell, axis=1), spread.take(cell, axis=1)
            shift = mean.take(cell - 1, axis=1) + x.take(row, axis=1) - old
            change = shift[of.left] * shift[of.right] * (1 - share)
            change += spread.take(cell - 1, axis=1) - same
            spread[:, cell] = same + share * change
            mean[:, cell] = old + share * shift
            log_sum[cell] = total
        last = self.first + self.cases
        likelihood = float((self.case_sums @ beta).sum() - log_sum[last].sum())
        information = spread[:, last].sum(axis=1)[of.square]
        return likelihood, self.case_sums.sum(axis=0) - mean[:, last].sum(axis=1), information


def _varying(strata: _Strata) -> list[int]:
    """Columns that vary inside mishaps and are not in the span of those before them."""
    flat = strata.x
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
    beta = np.zeros(strata.x.shape[1])
    likelihood, score, information = strata.derivatives(beta)
    scale = np.abs(strata.x).max(axis=0)
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
