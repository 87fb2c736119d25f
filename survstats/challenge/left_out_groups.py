"""How far does the main difference move when one measured group of causes is no longer held equal?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.effects.risk_model import EXPOSURE_COLUMN, RiskModel, prepare
from survstats.groundwork.errors import CallError, NotEstimable
from survstats.models.design import Design, build_design, fill_gaps
from survstats.models.kernel import collapse

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class GroupShift:
    """What one group of covariates does to the main difference.

    Attributes
    ----------
    group : str
        Name of the group.
    difference : float or None
        The main difference without this group, in [-1, 1]; None where it cannot be had.
    shift : float or None
        The main difference minus that: what holding the group equal adds.
    reason : str or None
        Why it cannot be had.
    """

    group: str
    difference: float | None
    shift: float | None
    reason: str | None = None


def left_out_groups(
    frame: pd.DataFrame,
    *,
    outcome: str,
    exposure: str,
    covariates: Sequence[str],
    cluster: str,
    groups: Mapping[str, str],
    main: RiskModel | None = None,
) -> tuple[GroupShift, ...]:
    """The main difference without each measured group of covariates, and how far that moves it.

    Parameters
    ----------
    frame : DataFrame of n rows
        The people compared.
    outcome, exposure, covariates, cluster
        As `survstats.effects.risk_model.prepare`.
    groups : mapping of str to str
        The group of each covariate; a group is left out whole.
    main : RiskModel, optional
        The model of this frame with all covariates, where it has been made already.

    Returns
    -------
    tuple of GroupShift
        One for each group, in the order of ``covariates``; point estimates only.

    Raises
    ------
    CallError
        ``no_group`` where a covariate has none.
    NotEstimable
        As `survstats.effects.risk_model.prepare`, for the main model.

    Notes
    -----
    All are fitted by the likelihood of the main model: whatever it can fit with all columns it can fit with fewer. How
    far measured causes move the result is a yardstick for an unmeasured one, not a bound on it (the idea: Imbens 2003,
    doi:10.1257/000282803321946921; the DOI from memory).
    """
    if lost := [name for name in covariates if name not in groups]:
        raise CallError("no_group", f"No group is known of: {', '.join(lost)}.")
    if main is None:
        main = prepare(frame, outcome=outcome, exposure=exposure, covariates=covariates, cluster=cluster)
    whole, found = _difference(main), []
    for group in dict.fromkeys(groups[name] for name in covariates):
        kept = [name for name in covariates if groups[name] != group]
        try:
            without = _difference(_with_covariates(main, frame, exposure, kept, cluster))
            found.append(GroupShift(group, without, whole - without))
        except NotEstimable as fault:
            found.append(GroupShift(group, None, None, fault.reason))
    return tuple(found)


def largest_shift(shifts: Sequence[GroupShift]) -> GroupShift | None:
    """The group whose leaving out moves the difference farthest, either way; None where none could be left out."""
    known = [one for one in shifts if one.shift is not None]
    return max(known, key=lambda one: abs(one.shift or 0.0), default=None)


def _with_covariates(
    main: RiskModel, frame: pd.DataFrame, exposure: str, kept: Sequence[str], cluster: str
) -> RiskModel:
    """The main model with these covariates alone, by the same likelihood."""
    filled, terms, _ = fill_gaps(frame, kept)
    design = build_design(filled, [exposure, *terms], cluster=cluster)
    return replace(
        main,
        design=design,
        collapsed=collapse(design.matrix, main.outcome, design.mishap_codes),
        trained_rows=_all_alike(design, 1.0),
        untrained_rows=_all_alike(design, 0.0),
        notices=(),
    )


def _all_alike(design: Design, exposure: float) -> Floats:
    """The rows of a design without products, with everyone's exposure set."""
    rows = design.matrix.copy()
    rows[:, EXPOSURE_COLUMN] = exposure
    return rows


def _difference(model: RiskModel) -> float:
    if_all, if_none = model.risks(np.ones((1, model.mishaps)))[0]
    return float(if_all - if_none)
