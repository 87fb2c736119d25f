"""Which masses on given places make what was seen likeliest, where each thing seen allows for some of the places?

Where everything seen allows for one place only, masses are counted out.  Else each step solves a system as large as
there are places; where most places are seen by themselves, as exact times are, these are eliminated first, and what
is left is as large as there are things seen that allow for several places.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from survstats.groundwork.errors import NotEstimable

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

PASSES = 200
AIM = 1.0  # product of mass and slack aimed at first
END = 1e-24  # and last: a mass is good to its root at worst, where mass and slack both vanish
NEARER = 0.01  # how much nearer to the end each pass aims
SHORT_OF_EDGE = 0.995  # how far towards the nearest edge a step may go
CLOSED = 1e-11  # slope and slack agree
RIDGE = 1e-12  # keeps steps short where the data say nothing; where they end is not moved by it
LEAST_LEANING = 1e-3  # of an even share
TILE_CELLS = 2_000_000  # replicates x places x places taken at a time
MANY_PLACES = 100  # from which on places seen by themselves are eliminated
FEW_TOGETHER = (
    16  # replicates taken at a time then: where nobody sees a place in one of them, it stays for all
)

#: From curvatures of the things seen (b, p), of the places by themselves (b, j), and a pull (b, j) to the step (b, j).
Solve = Callable[[Floats, Floats, Floats], Floats]


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
    several = allowed.sum(axis=1) > 1
    mass, slack = np.empty((len(weights), places)), np.empty((len(weights), places))
    if not several.any():
        mass = weights @ allowed / people
        slack = np.where(mass > 0, 0.0, 1.0)
    elif _mostly_by_themselves(allowed, several):
        for part in _parts(len(weights), min(FEW_TOGETHER, TILE_CELLS // (places * int(several.sum())))):
            share = weights[part] / people[part]
            by_itself = (share[:, ~several] @ allowed[~several] > 0).all(axis=0)
            solve = partial(_solve_eliminated, allowed, several, by_itself)
            mass[part], slack[part] = _climb(allowed, solve, share, toward)
    else:
        solve = partial(_solve_whole, _pairs(allowed))
        for part in _parts(len(weights), TILE_CELLS // places**2):
            mass[part], slack[part] = _climb(allowed, solve, weights[part] / people[part], toward)
    seen = np.where(weights > 0, mass @ allowed.T, 1.0)
    return Masses(mass, slack, np.asarray((weights * np.log(seen)).sum(axis=1)))


def _mostly_by_themselves(allowed: Floats, several: Bools) -> bool:
    """Whether eliminating the places that are seen by themselves makes the systems less than half as large."""
    places = allowed.shape[1]
    others = places - int(allowed[~several].any(axis=0).sum())
    return bool(places >= MANY_PLACES and 2 * (others + int(several.sum())) < places)


def _climb(allowed: Floats, solve: Solve, share: Floats, toward: Floats) -> tuple[Floats, Floats]:
    """Masses and slacks (b, j) at the maximum, for shares of people (b, p) that sum to 1 in each replicate."""
    b, places = len(share), allowed.shape[1]
    mass, slack = np.tile(toward / toward.sum(), (b, 1)), np.ones((b, places))
    aim = np.full((b, 1), AIM)
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
        pull = aim * toward / mass
        step = solve(curved, slack / mass + RIDGE, pull - slope)
        turn = pull - slack - slack / mass * step
        mass = mass + _length(mass, step) * step
        slack = slack + _length(slack, turn) * turn
    raise NotEstimable("not_converged", "The masses of the curve did not settle.")


def _solve_whole(pairs: sparse.csr_array, curved: Floats, own: Floats, pull: Floats) -> Floats:
    """The step with all places at once."""
    b, places = own.shape
    bend = np.asarray(pairs @ curved.T).T.reshape(b, places, places)
    diagonal = np.arange(places)
    bend[:, diagonal, diagonal] += own
    return np.asarray(np.linalg.solve(bend, pull[..., None])[..., 0])


def _solve_eliminated(
    allowed: Floats, several: Bools, by_itself: Bools, curved: Floats, own: Floats, pull: Floats
) -> Floats:
    """The same step with the places that are seen by themselves in all replicates eliminated.

    Unknown are what each of q things seen gains that allow for several places, and the steps of the r other places.
    """
    own = own + curved[:, ~several] @ allowed[~several]
    curved, seen, q = curved[:, several], allowed[several], int(several.sum())
    first, last = seen[:, by_itself], seen[:, ~by_itself]
    over = first / own[:, None, by_itself]
    system = np.zeros((len(own), q + last.shape[1], q + last.shape[1]))
    system[:, :q, :q] = np.eye(q) + over @ first.T * curved[:, None]
    system[:, :q, q:] = -last
    system[:, q:, :q] = last.T * curved[:, None]
    rest = np.arange(q, system.shape[1])
    system[:, rest, rest] = own[:, ~by_itself]
    gained = (over @ pull[:, by_itself, None])[..., 0]
    found = np.linalg.solve(system, np.hstack([gained, pull[:, ~by_itself]])[..., None])[..., 0]
    step = np.empty_like(own)
    step[:, by_itself] = (pull[:, by_itself] - (found[:, :q] * curved) @ first) / own[:, by_itself]
    step[:, ~by_itself] = found[:, q:]
    return step


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


def _parts(replicates: int, size: int) -> list[slice]:
    starts = range(0, replicates, max(1, size))
    return [slice(first, min(first + max(1, size), replicates)) for first in starts]
