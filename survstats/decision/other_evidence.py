"""What do other people's tables say of deaths among the trained, put together, and how far do they differ?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit
from statsmodels.stats.meta_analysis import combine_effects

from survstats.decision.publication import Counts, Publication
from survstats.decision.stratified import Together, mantel_haenszel
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate

Floats = NDArray[np.float64]
Use = Literal["pooled", "same_mishaps", "other_report", "survivor_only", "nobody_died", "everybody_died"]

#: With fewer tables than this nothing is pooled: they are listed.
FEWEST_POOLED = 3
_TOLERANCES = (1e-6, 1e-4, 1e-2)


@dataclass(frozen=True)
class Used:
    """A publication, what is done with it, and its own ratio where it has one.

    ``corrected`` says whether half a person was added to each cell, since a group had no dead (or only dead).
    """

    publication: Publication
    use: Use
    together: Together | None = None
    corrected: bool = False


@dataclass(frozen=True)
class Pooled:
    """The tables put together.

    Attributes
    ----------
    death_ratio : Estimate
        Ratio of the risks of death, trained to untrained, on average over such publications.
    further : Estimate
        Where the ratio of one further publication of the kind may lie (prediction interval).
    tau2 : float
        Variance of the true log ratios between publications.
    heterogeneity : float
        Share of the spread between the tables that is not their own chance, in [0, 1] (I squared).
    weights : ndarray of shape (k,)
        Share of each pooled publication, in the order given; sums to 1.
    log_ratio, error : float
        The average and its standard error on the log scale.
    """

    death_ratio: Estimate
    further: Estimate
    tau2: float
    heterogeneity: float
    weights: Floats
    log_ratio: float
    error: float


def sort_out(publications: Sequence[Publication]) -> tuple[Used, ...]:
    """What is done with each publication, in the order given: every mishap counts once, only whole tables are pooled.

    Notes
    -----
    A publication whose mishaps stand in the own records is left out. Of publications that share a name under
    ``overlap`` the one with the most people is kept, at a tie the one that comes first by name: neither looks at what
    it found. Where nobody of one group died, or everybody did, half a person is added to each cell of all its tables
    (common practice; Sweeting, Sutton and Lambert 2004, doi:10.1002/sim.1761, show what it costs). A table in which
    nobody died at all, or everybody, says nothing of a ratio of deaths and is listed only.
    """
    kept: dict[str, Publication] = {}
    for one in publications:
        if one.overlap and one.strata and not one.same_mishaps:
            best = kept.get(one.overlap)
            if best is None or (-one.people, one.name) < (-best.people, best.name):
                kept[one.overlap] = one
    return tuple(_used(one, kept) for one in publications)


def _used(one: Publication, kept: dict[str, Publication]) -> Used:
    if one.same_mishaps:
        return Used(one, "same_mishaps", _ratio_or_none(one.strata))
    if not one.strata:
        return Used(one, "survivor_only")
    if one.overlap and kept[one.overlap] is not one:
        return Used(one, "other_report", _ratio_or_none(one.strata))
    died = sum(table.died for table in one.strata)
    if not died:
        return Used(one, "nobody_died")
    if died == one.people:
        return Used(one, "everybody_died")
    corrected = _needs_half(one.strata)
    strata = tuple(table.plus_half() for table in one.strata) if corrected else one.strata
    return Used(one, "pooled", mantel_haenszel(strata), corrected)


def _needs_half(strata: Sequence[Counts]) -> bool:
    """Whether a group has no dead, or no living, in all tables of a publication together."""
    names = ("trained_lived", "trained_died", "untrained_lived", "untrained_died")
    return any(sum(getattr(table, name) for table in strata) == 0 for name in names)


def _ratio_or_none(strata: Sequence[Counts]) -> Together | None:
    try:
        return mantel_haenszel(strata) if strata else None
    except NotEstimable:
        return None


def pool(log_ratios: Floats, variances: Floats, *, people: int, level: float = 0.95) -> Pooled:
    """The average ratio of deaths over publications whose true ratios differ, and where a further one may lie.

    Parameters
    ----------
    log_ratios, variances : ndarray of shape (k,)
        Log ratio of the risks of death of each publication, and the square of its error.
    people : int
        How many people all tables hold.
    level : float, optional
        Coverage aimed at by both intervals.

    Raises
    ------
    NotEstimable
        ``too_few_studies`` below `FEWEST_POOLED`.

    Notes
    -----
    Variance between publications after Paule and Mandel 1982 (doi:10.6028/jres.087.022). Interval of the average:
    Hartung and Knapp 2001 (doi:10.1002/sim.791), t with k - 1 degrees of freedom, never narrower than the plain error
    gives (Roever, Knapp and Friede 2015, doi:10.1186/s12874-015-0091-1). Prediction interval: t with k - 2, Higgins,
    Thompson and Spiegelhalter 2009 (doi:10.1111/j.1467-985X.2008.00552.x), with the same error of the average
    (Partlett and Riley 2017, doi:10.1002/sim.7140).
    """
    k = len(log_ratios)
    if k < FEWEST_POOLED:
        raise NotEstimable("too_few_studies", f"{k} tables are too few to be put together.")
    found = _paule_mandel(log_ratios, variances)
    centre, tau2 = float(found.mean_effect_re), float(found.tau2)
    error = float(found.sd_eff_w_re) * math.sqrt(max(1.0, float(found.scale_hksj_re)))
    q = float(found.q)
    spread = math.sqrt(tau2 + error**2)
    numbers = (people, level, k)
    return Pooled(
        death_ratio=_ratio(centre, error, float(k - 1), "paule_mandel_hartung_knapp", *numbers),
        further=_ratio(centre, spread, float(k - 2), "prediction", *numbers),
        tau2=tau2,
        heterogeneity=max(0.0, (q - (k - 1)) / q) if q > 0 else 0.0,
        weights=np.asarray(found.weights_rel_re, dtype=float),
        log_ratio=centre,
        error=error,
    )


def _paule_mandel(log_ratios: Floats, variances: Floats) -> Any:
    """The library's pooling; it sets the variance to 0 where rounding takes its last step past the root."""
    for tolerance in _TOLERANCES:
        with np.errstate(
            divide="ignore"
        ):  # its I squared, not used here, divides by 0 where all tables are alike
            found = combine_effects(log_ratios, variances, method_re="iterated", atol=tolerance, maxiter=500)
        if found.tau2 > 0 or found.q <= len(log_ratios) - 1:
            return found
    raise NotEstimable("not_converged", "The variance between the publications was not found.")


def pool_used(used: Sequence[Used], *, level: float = 0.95) -> Pooled:
    """`pool` of those publications that are used whole.

    Raises
    ------
    NotEstimable
        ``too_few_studies``.
    """
    whole = [one.together.death_ratio for one in used if one.use == "pooled" and one.together is not None]
    people = round(sum(one.publication.people for one in used if one.use == "pooled"))
    log_ratios = np.array([math.log(ratio.value) for ratio in whole])
    return pool(log_ratios, np.array([ratio.se**2 for ratio in whole]), people=people, level=level)


def _ratio(
    centre: float, spread: float, df: float, method: str, people: int, level: float, k: int
) -> Estimate:
    reach = float(stdtrit(df, 0.5 + level / 2)) * spread
    return Estimate(
        value=math.exp(centre),
        low=math.exp(centre - reach),
        high=math.exp(centre + reach) if centre + reach < 700 else math.inf,
        se=spread,
        level=level,
        df=df,
        scale="log",
        unit="ratio",
        method=method,
        mishaps=k,
        occupants=people,
    )
