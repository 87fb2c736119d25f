"""How do people in invented mishaps live or die, and what would training have changed?

Two worlds. In the logistic one the analysis model is exactly right; it is for tests. In the mechanistic one
a person gets out of a capsized cabin if the time needed is shorter than the time without breath; the demo
studies come from it. All coefficients are invented.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

CLASSES = ("A_twin_2c8p", "B_light_1c4p", "C_heavy_3c16p")
OPERATORS = ("N", "S")
_CLASS_SHARES = (0.5, 0.3, 0.2)
_CREW = np.array([2, 1, 3])
_PASSENGERS = np.array([[2, 8], [1, 4], [6, 16]])
_FAR = np.array([0.5, 0.3, 0.6])
HALF_LIFE_MONTHS = 24.0
LONGEST_SINCE_MONTHS = 60.0

Array = NDArray[np.float64]


@dataclass(frozen=True)
class _People:
    """Who is aboard: one entry per mishap (type, operator, crew, passengers), then one per person.

    ``fitness`` is what a person's own adds to the log odds of training and of life; 0 where the world has none.
    """

    type: NDArray[np.int64]
    south: NDArray[np.bool_]
    n_crew: NDArray[np.int64]
    n_pax: NDArray[np.int64]
    mishap: NDArray[np.int64]
    crew: NDArray[np.bool_]
    far: NDArray[np.bool_]
    fitness: Array
    trained: NDArray[np.bool_]


def simulate_logistic(
    mishaps: int,
    rng: np.random.Generator,
    *,
    effect: float = 0.9,
    mishap_sd: float = 0.9,
    fitness: float = 0.0,
) -> pd.DataFrame:
    """People aboard in a world where survival is logistic, with both potential outcomes; n rows.

    Parameters
    ----------
    mishaps : int
        How many mishaps, >= 1.
    rng : Generator
        Source of all draws.
    effect : float
        Coefficient of training, log odds.
    mishap_sd : float
        Standard deviation of the mishaps' shared luck, log odds.
    fitness : float
        What one standard deviation of a person's fitness, which nobody records, adds to the log odds of having been
        trained and of living. It is drawn apart: the luck of everything else stays the same.

    Returns
    -------
    DataFrame
        ``mishap``, ``aircraft_class``, ``operator_south``, ``sea_state``, ``cold``, ``inverted``, ``crew``,
        ``far``, ``trained``, ``impact_death``, ``survived``, and ``survived_if_trained``,
        ``survived_if_untrained`` (the same luck in both). P1 is ``impact_death == 0``.
    """
    people = _board(mishaps, rng, fitness=fitness)
    g, crew, far = people.mishap, people.crew, people.far
    sea = np.clip(rng.normal(3.2, 1.3, mishaps), 0, 7)
    cold = rng.random(mishaps) < 0.5
    inverted = rng.random(mishaps) < _expit(-0.6 + 0.35 * (sea - 3))
    luck = rng.normal(0, mishap_sd, mishaps)
    impact_death = _impact_death(people, rng.normal(size=mishaps), rng)
    untrained = (
        (0.55 + 0.35 * crew - 0.7 * far - 0.9 * inverted[g] - 0.18 * (sea[g] - 3) - 0.35 * cold[g])
        - 0.25 * (people.type[g] == 2)
        + 0.3 * people.south[g]
        + luck[g]
        + people.fitness
    )
    fate = rng.random(len(g))
    if_untrained, if_trained = fate < _expit(untrained), fate < _expit(untrained + effect)
    survived = np.where(people.trained, if_trained, if_untrained)
    return pd.DataFrame(
        {
            "mishap": g,
            "aircraft_class": np.array(CLASSES)[people.type[g]],
            "operator_south": people.south[g].astype(int),
            "sea_state": sea[g],
            "cold": cold[g].astype(int),
            "inverted": inverted[g].astype(int),
            "crew": crew.astype(int),
            "far": far.astype(int),
            "trained": people.trained.astype(int),
            "impact_death": impact_death.astype(int),
            "survived": survived.astype(int),
            "survived_if_trained": if_trained.astype(int),
            "survived_if_untrained": if_untrained.astype(int),
        }
    )


@dataclass(frozen=True)
class World:
    """Mishaps of the mechanistic world as they truly were.

    Attributes
    ----------
    mishap : DataFrame, g rows
        ``aircraft_class``, ``operator_code``, ``n_crew``, ``n_pax``, ``wave_m``, ``water_c``, ``night``,
        ``capsized``, and the shared luck ``haste``, ``help``.
    occupant : DataFrame, n rows
        ``mishap`` (row in the other frame), ``crew``, ``far``, ``suit``, ``trained``, ``months_since``,
        ``impact_death``, ``time_out_s``, ``out``, ``survived`` and the person's own luck.
    effect : float
        1 where training works as set out, 0 where it does nothing.
    """

    mishap: pd.DataFrame
    occupant: pd.DataFrame
    effect: float


def simulate_mechanistic(mishaps: int, rng: np.random.Generator, *, effect: float = 1.0) -> World:
    """Mishaps in which escape is a race between the way out and the breath."""
    people = _board(mishaps, rng)
    n = len(people.mishap)
    wave = np.clip(rng.gamma(3, 0.6, mishaps), 0.05, 9)
    severity = rng.normal(size=mishaps)
    mishap = pd.DataFrame(
        {
            "aircraft_class": np.array(CLASSES)[people.type],
            "operator_code": np.array(OPERATORS)[people.south.astype(int)],
            "n_crew": people.n_crew,
            "n_pax": people.n_pax,
            "wave_m": wave,
            "water_c": np.clip(rng.normal(np.where(people.south, 14, 9), 4), 1, 28),
            "night": rng.random(mishaps) < 0.3,
            "capsized": rng.random(mishaps) < _expit(-0.4 + 0.5 * (wave - 1.8) + 0.5 * severity),
            "haste": rng.normal(0, 0.25, mishaps),
            "help": rng.normal(0, 0.5, mishaps),
        }
    )
    occupant = pd.DataFrame(
        {
            "mishap": people.mishap,
            "crew": people.crew,
            "far": people.far,
            "suit": rng.random(n) < np.where(people.south[people.mishap], 0.7, 0.3),
            "trained": people.trained,
            "months_since": rng.uniform(0, LONGEST_SINCE_MONTHS, n),
            "impact_death": _impact_death(people, severity, rng),
            "speed": rng.normal(0, 0.45, n),
            "breath": rng.normal(0, 0.45, n),
            "luck_out": rng.random(n),
            "luck_after": rng.random(n),
        }
    )
    held = np.where(people.trained, retained(occupant["months_since"].to_numpy()), 0.0)
    world = World(mishap, occupant, effect)
    time_out, out, survived = fate(world, held)
    lived = survived & ~occupant["impact_death"].to_numpy()
    return World(mishap, occupant.assign(time_out_s=time_out, out=out, survived=lived), effect)


def retained(months_since: Array) -> Array:
    """Share of the training still held after so many months."""
    return np.asarray(2.0 ** (-months_since / HALF_LIFE_MONTHS), dtype=float)


def fate(world: World, held: Array) -> tuple[Array, NDArray[np.bool_], NDArray[np.bool_]]:
    """Time out in s, whether out, and whether alive, had each person held so much training (n occupants).

    Death at impact is left to the caller: training does not touch it.
    """
    person = world.occupant
    there = world.mishap.iloc[person["mishap"].to_numpy()].reset_index(drop=True)
    held = world.effect * held
    far, crew, rough = person["far"], person["crew"], there["wave_m"] - 1.8
    log_time = (
        (np.log(17) - 0.5 * held + 0.35 * far + 0.35 * there["capsized"] + 0.2 * there["night"])
        + 0.06 * rough
        - 0.1 * crew
        + there["haste"]
        + person["speed"]
    )
    warm = _expit(((there["water_c"] - 13) / 3).to_numpy(float))
    log_breath = np.log(18) + 0.9 * warm + 0.1 * held + person["breath"]
    walked_out = person["luck_out"] < _expit((2.6 + 0.4 * held - 0.4 * far + there["help"]).to_numpy(float))
    out = np.where(there["capsized"], log_time < log_breath, walked_out)
    after = (2.3 + 0.25 * held + 0.7 * person["suit"] + 0.06 * (there["water_c"] - 12)) - 0.3 * rough
    alive = out & (person["luck_after"] < _expit((after + there["help"]).to_numpy(float))).to_numpy()
    return np.exp(log_time.to_numpy(float)), out.astype(bool), alive.astype(bool)


def _board(mishaps: int, rng: np.random.Generator, *, fitness: float = 0.0) -> _People:
    type_ = rng.choice(3, mishaps, p=_CLASS_SHARES)
    n_crew = _CREW[type_]
    n_pax = rng.integers(_PASSENGERS[type_, 0], _PASSENGERS[type_, 1] + 1)
    south = rng.random(mishaps) < 0.5
    aboard = n_crew + n_pax
    g = np.repeat(np.arange(mishaps), aboard)
    seat = np.arange(len(g)) - np.repeat(np.cumsum(aboard) - aboard, aboard)
    crew = seat < n_crew[g]
    far = ~crew & (rng.random(len(g)) < _FAR[type_[g]])
    own = fitness * rng.spawn(1)[0].normal(size=len(g)) if fitness else np.zeros(len(g))
    wish = -0.9 + 2.2 * crew + 0.9 * south[g] + 0.4 * (type_[g] == 2) - 0.3 * far
    trained = rng.random(len(g)) < _expit(wish + own)
    return _People(type_, south, n_crew, n_pax, g, crew, far, own, trained)


def _impact_death(people: _People, severity: Array, rng: np.random.Generator) -> NDArray[np.bool_]:
    risk = _expit(-2.2 + 0.9 * severity[people.mishap] + 0.35 * people.crew)
    return np.asarray(rng.random(len(people.mishap)) < risk)


def _expit(x: Array) -> Array:
    return np.asarray(1 / (1 + np.exp(-x)), dtype=float)
