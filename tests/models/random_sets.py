"""Random data sets, and the terms of the golden one."""

from __future__ import annotations

import numpy as np
import pandas as pd

TERMS = ["trained", "crew", "seat_far"]


def random_rows(seed, mishaps=8, extra=2, strength=0.7, biggest=7):
    """Matrix (n, 2 + extra) with intercept and exposure, outcome, mishap codes."""
    rng = np.random.default_rng(seed)
    codes = np.repeat(np.arange(mishaps), rng.integers(1, biggest + 1, mishaps))
    n = len(codes)
    x = np.column_stack(
        [np.ones(n), rng.integers(0, 2, n), rng.integers(0, 2, (n, extra - 1)), rng.normal(size=n).round(1)]
    )
    eta = x @ np.r_[0.2, strength, rng.normal(0, 0.4, extra)] + rng.normal(0, 0.5, mishaps)[codes]
    return x, (rng.random(n) < 1 / (1 + np.exp(-eta))).astype(float), codes


def usable_sets(count, usable, **settings):
    """The first ``count`` random sets for which ``usable(x, y, codes)`` holds."""
    found, seed = [], 0
    while len(found) < count:
        rows = random_rows(seed, **settings)
        seed += 1
        if usable(*rows):
            found.append(rows)
    return found


def as_frame(x, y, codes):
    frame = pd.DataFrame(x[:, 1:], columns=[f"x{j}" for j in range(1, x.shape[1])])
    return frame.assign(y=y, mishap=codes), list(frame.columns)
