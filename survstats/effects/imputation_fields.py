"""Which values does one turn of the chains put where a field is missing?"""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from survstats.effects.imputation_chains import Chains, Places, lend, of_others, units_of
from survstats.effects.missing_values import CURRENT, LAPSED, Field, Floats, columns_of
from survstats.groundwork.resampling import bootstrap

DONORS = 5  # nearest known rows of which one lends its value
KNOWN_PER_COLUMN = 3  # known rows that a column needs
RIDGE = 1e-5  # share of a column's own size added to it, so that a resample without it can be solved
TINY = 1e-12


def draw_field(chains: Chains, one: Field, rng: np.random.Generator) -> None:
    """Fill a field's gaps in every chain with the value of a known row that is expected to be much like it.

    Predictive mean matching on a linear regression of the (levels of the) field in resampled mishaps, one of the
    five nearest donors taken at random: only values that were seen can come out, so no wave is below 0 m. Fields of
    the mishap are matched over mishaps, one row each. Little 1988, doi:10.1080/07350015.1988.10509663.
    """
    gaps, units = chains.gaps, units_of(chains.gaps, one)
    missing = one.gaps[units]
    design = _matching_design(chains, one, units)
    known = one.values[units][~missing]
    target = (known[:, None] == np.arange(1, len(one.levels))).astype(float) if one.levels else known[:, None]
    spread = np.maximum(target.std(axis=0), TINY)
    weights = bootstrap(gaps.mishaps, chains.draws, rng)[:, gaps.codes[units[~missing]]]
    expected = _regression(design[:, ~missing], target / spread, weights, design)
    lent = np.empty((chains.draws, int(missing.sum())))
    nearest = min(DONORS, len(known))
    for chain in range(chains.draws):
        donors = expected[chain, ~missing] + rng.normal(0, 1e-6, (len(known), target.shape[1]))
        places = cKDTree(donors).query(expected[chain, missing], k=nearest)[1].reshape(-1, nearest)
        lent[chain] = known[places[np.arange(len(places)), rng.integers(0, nearest, len(places))]]
    lend(gaps, one, chains.values[one.name], lent)


def _matching_design(chains: Chains, one: Field, units: Places) -> Floats:
    """Design (m, units, k) for a field: outcome, training, the other fields; only what a mishap has for a mishap's."""
    current = (chains.status == CURRENT).astype(float)
    hands_on = np.isin(chains.status, (CURRENT, LAPSED)).astype(float)
    everyone = np.ones_like(current)
    wanted: list[Floats] = []
    if one.by_mishap:
        size = chains.members @ np.ones(len(chains.gaps.codes))
        own = [name for name in ("outcome_of_mishap", "log_aboard") if name in chains.fixed]
        wanted += [
            ((chains.members @ share.T).T / size)[:, chains.gaps.codes] for share in (current, hands_on)
        ]
    else:
        own = [name for name in ("outcome", "outcome_of_others", "log_aboard") if name in chains.fixed]
        others = of_others(hands_on, everyone, chains.members, chains.gaps.codes)
        wanted += [current, hands_on, others]
    for other in chains.gaps.fields:
        if other.name != one.name and (other.by_mishap or not one.by_mishap):
            values = chains.values.get(other.name, other.values)
            wanted += [column for _, column in columns_of(other, values)]
    wanted = [*(chains.fixed[name] for name in own), *wanted]
    limit = max(1, int((~one.gaps[units]).sum()) // KNOWN_PER_COLUMN)
    design = np.ones((chains.draws, len(units), 1 + min(limit, len(wanted))))
    for place, column in enumerate(wanted[:limit], start=1):
        design[:, :, place] = column[..., units]
    return design


def _regression(design: Floats, target: Floats, weights: Floats, at: Floats) -> Floats:
    """Expected targets (m, units, q) from weighted least squares on the known rows of each chain."""
    weighted = design * weights[:, :, None]
    square = np.einsum("mrk,mrl->mkl", weighted, design, optimize=True)
    places = np.arange(square.shape[1])
    square[:, places, places] = square[:, places, places] * (1 + RIDGE) + TINY
    right = np.einsum("mrk,rq->mkq", weighted, target, optimize=True)
    return np.asarray(at @ np.linalg.solve(square, right))
