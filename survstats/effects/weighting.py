"""What would training change, with each person weighed by the chance of standing in the own training group?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse
from scipy.special import expit

from survstats.effects.augmented import BLOCK_CELLS, NO_COUNTERPART
from survstats.effects.risk_model import refuse_thin
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.resampling import leave_one_out
from survstats.models.design import build_design, fill_gaps
from survstats.models.kernel import collapse
from survstats.models.one_pass import fit_sets
from survstats.models.patterns import pattern_codes

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]


def weighted_risks(
    frame: pd.DataFrame,
    *,
    outcome: str,
    exposure: str,
    covariates: Sequence[str],
    cluster: str,
    without_each: bool = True,
) -> Floats:
    """Survival if all, if none had been trained, by inverse probability of training: shape (1 + g, 2) or (1, 2).

    Parameters
    ----------
    frame : DataFrame of n rows
        ``outcome`` and ``exposure`` hold 0 and 1. Gaps in covariates are coded as such, never dropped.
    outcome, exposure, cluster : str
        Column names; ``cluster`` is the mishap.
    covariates : sequence of str
        Columns measured before immersion; the model of who was trained uses them.
    without_each : bool
        Whether a row follows for each of the g mishaps left out, of the model too; else all mishaps alone.

    Raises
    ------
    NotEstimable
        As `refuse_thin`; ``arm_in_one_mishap`` where without some mishap nobody is left in one group,
        ``not_converged`` where a fit has no finite solution, ``no_overlap`` where somebody has no counterpart in the
        other group.

    Notes
    -----
    In each group the mean outcome weighed by one over the chance of being in it, the weights made to sum to one
    (Hajek's form; Lunceford and Davidian 2004, doi:10.1002/sim.1903, from memory). The chances come from Firth's
    likelihood with the intercept refitted, so that a covariate that settles training still gives finite ones (Puhr et
    al. 2017, doi:10.1002/sim.7273). No model of survival is used, and whatever was not measured is left out.
    """
    refuse_thin(frame, outcome, exposure, cluster)
    filled, terms, _ = fill_gaps(frame, covariates)
    design = build_design(filled, terms, cluster=cluster)
    trained = filled[exposure].to_numpy(dtype=float)
    g = len(design.mishap_labels)
    collapsed = collapse(design.matrix, trained, design.mishap_codes)
    _refuse_one_mishap(trained, design.mishap_codes, g)
    fits = [fit_sets(collapsed, np.ones((1, g)), penalised=True)]
    if without_each:
        fits.append(fit_sets(collapsed, leave_one_out(g), penalised=True))
    if not all(one.finite for one in fits):
        raise NotEstimable("not_converged", "The model of who is trained has no finite solution.")
    coefficients = np.concatenate([one.coefficients for one in fits])
    lived = filled[outcome].to_numpy(dtype=float)
    return _weighted_means(design.matrix, trained, lived, design.mishap_codes, coefficients)


def _refuse_one_mishap(trained: Floats, codes: Codes, mishaps: int) -> None:
    """Stop where leaving one mishap out would leave a group empty."""
    for arm in (0.0, 1.0):
        if np.count_nonzero(np.bincount(codes[trained == arm], minlength=mishaps)) < 2:
            raise NotEstimable("arm_in_one_mishap", "All people of one training group come from one mishap.")


def _weighted_means(matrix: Floats, trained: Floats, lived: Floats, codes: Codes, fits: Floats) -> Floats:
    """Weighted means of both groups for each fit (b, 2); fit 0 leaves nobody out, fit 1 + j mishap j."""
    labels, first = pattern_codes(np.column_stack([matrix, trained, lived]))
    g = int(codes.max()) + 1
    counts = sparse.csr_array((np.ones(len(labels)), (labels, codes)), shape=(len(first), g))
    total = np.bincount(labels).astype(float)[:, None]
    in_group = np.column_stack([trained, 1 - trained])[first]
    survivors = in_group * lived[first][:, None]
    found = np.empty((len(fits), 2))
    step = max(BLOCK_CELLS // len(first), 1)
    for start in range(0, len(fits), step):
        block = slice(start, min(start + step, len(fits)))
        there = np.repeat(total, block.stop - start, axis=1)
        left_out = slice(max(start - 1, 0), block.stop - 1)
        there[:, max(1 - start, 0) :] -= counts[:, left_out].toarray()
        chance = expit(matrix[first] @ fits[block].T)
        if chance.min() < NO_COUNTERPART or chance.max() > 1 - NO_COUNTERPART:
            raise NotEstimable(
                "no_overlap",
                "Some people have no counterpart in the other training group.",
                "Use fewer covariates in the study file.",
            )
        for arm, own in enumerate((chance, 1 - chance)):
            weights = there / own
            found[block, arm] = (survivors[:, arm] @ weights) / (in_group[:, arm] @ weights)
    return found
