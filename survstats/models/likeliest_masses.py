"""Which masses on given places make what was seen likeliest, where each thing seen allows for some of the places?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from survstats.groundwork.errors import NotEstimable

Floats = NDArray[np.float64]

PASSES = 200
AIM = 1.0  # product of mass and slack aimed at first
END = 1e-24  # and last: a mass is good to its root at worst, where mass and slack both vanish
NEARER = 0.01  # how much nearer to the end each pass aims
SHORT_OF_EDGE = 0.995  # how far towards the nearest edge a step may go
CLOSED = 1e-11  # slope and slack agree
RIDGE = 1e-12  # keeps steps short where the data say nothing; where they end is not moved by it
LEAST_LEANING = 1e-3  # of an even share
TILE_CELLS = 2_000_000  # replicates x places x places taken at a time


@dataclass(frozen=True)
class Masses:
    """The likeliest masses under b sets of weights.

    Attributes
    ----------
    mass : ndarray of shape (b, j)
        Sums to 1.
    slack : ndarray of shape (b, j)
        How much log-likelihood, for one person, a mass moved to that place would lose at first; 0 where mass may lie.
    log_likelihood : ndarray of shape (b,)
    """

    mass: Floats
    slack: Floats
    log_likelihood: Floats


def likeliest_masses(allowed: Floats, weights: Floats, *, leaning: Floats | None = None) -> Masses:
    """The masses that maximise the sum of weight times log of the mass that each thing seen allows for.

    An interior-point method for the conditions of the maximum, all replicates together.  Places that a replicate cannot
    tell apart share their mass evenly, or in proportion to ``leaning``.

    Parameters
    ----------
    allowed : ndarray of shape (p, j)
        1 where thing p may have happened at place j, else 0; no row is empty.
    weights : ndarray of shape (b, p)
        How many people saw it; not negative.
    leaning : ndarray of shape (j,), optional
        Masses to start from.

    Raises
    ------
    NotEstimable
        ``no_rows`` where a replicate holds nobody; ``not_converged``.

    References
    ----------
    The likelihood: Turnbull 1976 (doi:10.1111/j.2517-6161.1976.tb01597.x). Interior points for such likelihoods:
    Koenker and Mizera 2014 (doi:10.1080/01621459.2013.869224). Both from memory.
    """
    people = weights.sum(axis=1, keepdims=True)
    if not np.all(people > 0):
        raise NotEstimable("no_rows", "A refit has no row left to draw a curve of.")
    places = allowed.shape[1]
    toward = np.ones(places) if leaning is None else np.maximum(leaning * places, LEAST_LEANING)
    pairs = _pairs(allowed)
    mass, slack = np.empty((len(weights), places)), np.empty((len(weights), places))
    for part in _parts(len(weights), places):
        mass[part], slack[part] = _climb(allowed, pairs, weights[part] / people[part], toward)
    seen = np.where(weights > 0, mass @ allowed.T, 1.0)
    return Masses(mass, slack, np.asarray((weights * np.log(seen)).sum(axis=1)))


def _climb(allowed: Floats, pairs: sparse.csr_array, share: Floats, toward: Floats) -> tuple[Floats, Floats]:
    """Masses and slacks (b, j) at the maximum, for shares of people (b, p) that sum to 1 in each replicate."""
    b, places = len(share), allowed.shape[1]
    mass, slack = np.tile(toward / toward.sum(), (b, 1)), np.ones((b, places))
    aim, diagonal = np.full((b, 1), AIM), np.arange(places)
    for _ in range(PASSES):
        seen = mass @ allowed.T
        ratio = np.divide(share, seen, out=np.zeros_like(share), where=share > 0)
        slope = 1 - ratio @ allowed
        gap = (mass * slack).mean(axis=1, keepdims=True)
        if np.all(gap < 2 * END * toward.mean()) and np.abs(slope - slack).max() < CLOSED:
            mass = np.where(slack > mass, 0.0, mass)
            return mass / mass.sum(axis=1, keepdims=True), slack
        aim = np.maximum(END, np.minimum(aim, gap) * NEARER)
        curved = np.divide(ratio, seen, out=np.zeros_like(share), where=share > 0)
        bend = np.asarray(pairs @ curved.T).T.reshape(b, places, places)
        bend[:, diagonal, diagonal] += slack / mass + RIDGE
        pull = aim * toward / mass
        step = np.linalg.solve(bend, (pull - slope)[..., None])[..., 0]
        turn = pull - slack - slack / mass * step
        mass = mass + _length(mass, step) * step
        slack = slack + _length(slack, turn) * turn
    raise NotEstimable("not_converged", "The masses of the curve did not settle.")


def _pairs(allowed: Floats) -> sparse.csr_array:
    """Which thing seen allows for both places of a pair, (j * j, p)."""
    p, places = allowed.shape
    found = [np.flatnonzero(row) for row in allowed]
    pair = [(own[:, None] * places + own).ravel() for own in found]
    thing = np.repeat(np.arange(p), [len(own) for own in pair])
    both = np.concatenate(pair)
    return sparse.csr_array((np.ones(len(both)), (both, thing)), shape=(places * places, p))


def _length(at: Floats, step: Floats) -> Floats:
    """How far (b, 1) along the step all stay positive, at most 1."""
    edge = np.divide(-at, step, out=np.full_like(at, np.inf), where=step < 0)
    return np.asarray(np.minimum(1.0, SHORT_OF_EDGE * edge.min(axis=1, keepdims=True)))


def _parts(replicates: int, places: int) -> Iterator[slice]:
    size = max(1, TILE_CELLS // places**2)
    return (slice(first, min(first + size, replicates)) for first in range(0, replicates, size))
