"""Simulated ditchings for the benchmarks, in three sizes; no real event."""

from __future__ import annotations

import numpy as np
import pandas as pd

MISHAPS = {"s": 60, "m": 600, "l": 15_000}
COVARIATES = ["trained", "night", "inverted", "rough", "row", "pilot", "crew", "temp", "log_warning"]


def simulated(mishaps: int, seed: int = 20240101) -> pd.DataFrame:
    """Occupants with `COVARIATES`, ``mishap``, who ``lived``, and whole seconds (``time``) until a ``cause``.

    Causes: 1 out, 2 dead, 0 lost from sight. Many seconds tie, as in such records.
    """
    rng = np.random.default_rng(seed)
    size = np.maximum(2, rng.poisson(7, mishaps))
    mishap = np.repeat(np.arange(mishaps), size)
    n = mishap.size
    night, inverted, rough = (np.repeat(rng.binomial(1, p, mishaps), size) for p in (0.35, 0.5, 0.4))
    temp = np.repeat(np.clip(np.round(rng.normal(14, 6, mishaps)), 1, 28), size)
    seconds = rng.choice([0, 5, 15, 60, 180, 600], mishaps, p=[0.35, 0.2, 0.15, 0.1, 0.1, 0.1])
    log_warning = np.log1p(np.repeat(seconds, size) / 5)
    trained = rng.binomial(1, np.repeat(rng.beta(3, 2, mishaps), size))
    row, role = rng.integers(0, 5, n), rng.choice(3, n, p=[0.6, 0.15, 0.25])
    shared = np.repeat(rng.normal(0, 0.7, mishaps), size)
    eta = 0.9 + 0.7 * trained - 0.5 * night - 0.9 * inverted - 0.4 * rough - 0.18 * row
    eta += 0.2 * (role == 1) + 0.35 * (role == 2) + 0.03 * (temp - 14) + 0.15 * log_warning + shared
    lived = (rng.random(n) < 1 / (1 + np.exp(-eta))).astype(int)
    pull = 0.4 * trained - 0.2 * night - 0.5 * inverted - 0.1 * rough - 0.1 * row
    pull = pull + 0.1 * (role == 2) + 0.3 * shared
    out = rng.exponential(40 * np.exp(-pull))
    died, seen = rng.exponential(90 * np.exp(0.3 * inverted + 0.2 * night), n), rng.uniform(20, 240, n)
    first = np.minimum(np.minimum(out, died), seen)
    columns = [
        *(trained, night, inverted, rough, row, role == 1, role == 2),
        *((temp - 14) / 6, log_warning.round(6)),
    ]
    frame = pd.DataFrame(dict(zip(COVARIATES, columns, strict=True))).astype(float)
    cause = np.where(first == out, 1, np.where(first == died, 2, 0))
    return frame.assign(mishap=mishap, lived=lived, time=np.maximum(1, np.ceil(first)), cause=cause)
