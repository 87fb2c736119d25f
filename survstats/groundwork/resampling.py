"""Mishap weights and random streams: every refit in the package is one row of weights."""

from __future__ import annotations

import hashlib

import numpy as np
from numpy.typing import NDArray


def stream(seed: int, name: str) -> np.random.Generator:
    """A generator of its own for each named analysis, so that adding one never moves another's draws.

    Parameters
    ----------
    seed : int
        The study's seed, >= 0.
    name : str
        The name of the analysis.
    """
    digest = hashlib.sha256(name.encode()).digest()
    words = [int.from_bytes(digest[i : i + 4], "big") for i in range(0, 16, 4)]
    return np.random.default_rng(np.random.SeedSequence([seed, *words]))


def leave_one_out(mishaps: int) -> NDArray[np.float64]:
    """Weights that leave each mishap out once, shape (mishaps, mishaps): row j has a 0 at j."""
    return np.ones((mishaps, mishaps)) - np.eye(mishaps)


def leave_pairs_out(mishaps: int, first: int) -> NDArray[np.float64]:
    """Weights that leave out ``first`` and each other mishap in turn, shape (mishaps - 1, mishaps)."""
    weights = leave_one_out(mishaps)
    weights[:, first] = 0.0
    return np.delete(weights, first, axis=0)


def bootstrap(mishaps: int, replicates: int, rng: np.random.Generator) -> NDArray[np.float64]:
    """How often each mishap is drawn in each replicate, shape (replicates, mishaps)."""
    counts = rng.multinomial(mishaps, np.full(mishaps, 1 / mishaps), size=replicates)
    return counts.astype(float)
