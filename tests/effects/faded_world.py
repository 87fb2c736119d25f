"""Invented people whose training fades at a known rate, and the two analyses as the tests call them."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.special import expit

from survstats.effects.fading import Fading, fading
from survstats.effects.recency import Recency, recency

NAMES = {"outcome": "survived", "status": "status", "months": "months", "cluster": "mishap"}
COVARIATES = ("crew", "far", "rough")


def faded_world(
    seed: int,
    mishaps: int,
    *,
    size: float,
    half_life: float = 24.0,
    luck: float = 0.6,
    together: bool = False,
    longest: float = 60.0,
) -> pd.DataFrame:
    """People in a world where survival is logistic and training halves every ``half_life`` months.

    ``luck`` is the spread of the mishaps' shared luck; ``together``: people of one mishap were trained or not, and
    trained at about the same time. ``gain_m`` is what training m months ago would give this person.
    """
    rng = np.random.default_rng([8, seed])
    mishap = np.repeat(np.arange(mishaps), rng.integers(4, 12, mishaps))
    n = len(mishap)
    crew, far, rough = rng.random(n) < 0.3, rng.random(n) < 0.4, rng.normal(size=mishaps)
    shared = rng.normal(0, 1.5 * together, mishaps)[mishap]
    trained = rng.random(n) < expit(-0.4 + 1.2 * crew + shared)
    months = rng.uniform(0, longest, n)
    if together:
        months = np.clip(rng.uniform(0, longest, mishaps)[mishap] + rng.normal(0, 4, n), 0, None)
    base = -0.4 + 0.35 * crew - 0.7 * far - 0.4 * rough[mishap] + rng.normal(0, luck, mishaps)[mishap]
    held = size * 2.0 ** (-months / half_life)
    frame = pd.DataFrame(
        {
            "mishap": mishap,
            "crew": crew.astype(int),
            "far": far.astype(int),
            "rough": rough[mishap],
            "role": np.where(crew, "flight_crew", "passenger"),
            "status": np.where(trained, "current", "none"),
            "months": np.where(trained, months, np.nan),
            "survived": (rng.random(n) < expit(base + trained * held)).astype(int),
        }
    )
    gains = {f"gain_{m}": expit(base + size * 2.0 ** (-m / half_life)) - expit(base) for m in (0, 12, 24, 48)}
    return frame.assign(**gains)


def faded(frame: pd.DataFrame, seed: int = 1, covariates: tuple[str, ...] = COVARIATES, **more) -> Fading:
    return fading(frame, covariates=covariates, rng=np.random.default_rng(seed), **NAMES, **more)


def banded(frame: pd.DataFrame, covariates: tuple[str, ...] = COVARIATES, **more) -> Recency:
    return recency(frame, covariates=covariates, **NAMES, **more)
