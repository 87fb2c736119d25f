"""What does a fitted model hold?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.groundwork.errors import CallError, Notice
from survstats.models.design import Design


@dataclass(frozen=True)
class Coefficient:
    """One coefficient of a model, a log odds ratio per unit of its column.

    Attributes
    ----------
    term : str
        Name of the design column.
    estimate, se : float
    df : float
        Degrees of freedom of the limits' t quantile; infinite for a normal one, NaN for profile limits.
    low, high : float
        Limits at the table's level; infinite ones mean "no limit".
    """

    term: str
    estimate: float
    se: float
    df: float
    low: float
    high: float


@dataclass(frozen=True)
class CoefficientTable:
    """The k coefficients of a model and the level of their limits."""

    rows: tuple[Coefficient, ...]
    level: float

    def __iter__(self) -> Iterator[Coefficient]:
        return iter(self.rows)

    def __len__(self) -> int:
        return len(self.rows)

    def __getitem__(self, term: str) -> Coefficient:
        for row in self.rows:
            if row.term == term:
                return row
        raise CallError("unknown_term", f"The model has no coefficient '{term}'.")

    @property
    def estimates(self) -> NDArray[np.float64]:
        """The coefficients, shape (k,)."""
        return np.array([row.estimate for row in self.rows])

    def to_frame(self) -> pd.DataFrame:
        """One row per coefficient, columns as the fields of :class:`Coefficient`."""
        return pd.DataFrame([asdict(row) for row in self.rows])


@dataclass(frozen=True)
class Usage:
    """What a fit rests on.

    Attributes
    ----------
    rows, mishaps : int
        Rows and mishaps that carry information for the fit.
    coefficients : int
    dropped : mapping of str to str
        Column to reason code: ``aliased``, ``constant_within_mishaps``.
    rows_without_information : int
        Rows given that could not inform the fit.
    """

    rows: int
    mishaps: int
    coefficients: int
    dropped: Mapping[str, str]
    rows_without_information: int = 0


@dataclass(frozen=True)
class FittedLogistic:
    """A logistic model.

    Attributes
    ----------
    table : CoefficientTable
    covariance : (k, k) array
        Of the coefficients, by the method named.
    method : str
        ``"CR0"``, ``"CR1"``, ``"CR2"``; ``"profile"`` for the penalised fit; ``"model"`` within mishaps.
    log_likelihood : float
        Penalised for the penalised fit, conditional within mishaps.
    design : Design
        Makes the design matrix of other rows.
    usage : Usage
    notices : tuple of Notice
    flic_intercept : float
        The intercept with which predicted risks average to the observed one; equal to the fitted intercept
        under maximum likelihood, NaN where the model has none.
    """

    table: CoefficientTable
    covariance: NDArray[np.float64]
    method: str
    log_likelihood: float
    design: Design
    usage: Usage
    notices: tuple[Notice, ...]
    flic_intercept: float

    @property
    def prediction_coefficients(self) -> NDArray[np.float64]:
        """Coefficients (k,) for predicted risks: the intercept is the FLIC one."""
        coefficients = self.table.estimates
        coefficients[0] = self.flic_intercept
        return coefficients
