"""Invented people in seats, with places that differ and mishaps that share a fate."""

from __future__ import annotations

import numpy as np
import pandas as pd

from survstats.effects.cabin_layout import Layout, Zone

TWIN = Layout(
    "twin", 6, "L R", ((1, "L"), (4, "R")), (Zone("front", 1, 2), Zone("middle", 3, 4), Zone("rear", 5, 6))
)
BENCH = Layout("bench", 3, "LL CR", ((2, "L"),), (Zone("front", 1, 1), Zone("rear", 2, 3)))


def seated(mishaps, rng, *, spread=0.0, shared=0.0, layouts=(TWIN,), filled=0.8):
    """People of so many mishaps of each class; returns them with the chance of each place (places,)."""
    rows, start, chances = [], 0, []
    for layout in layouts:
        cells = [(zone, side) for zone in layout.zones for side in layout.sides]
        chance = np.clip(0.7 + spread * rng.standard_normal(len(cells)), 0.02, 0.98)
        chances.append(chance)
        for g in range(mishaps):
            fate = shared * rng.standard_normal()
            for row in range(1, layout.rows + 1):
                for letter in layout.seats.replace(" ", ""):
                    if rng.random() > filled:
                        continue
                    place = next(
                        at
                        for at, (zone, side) in enumerate(cells)
                        if side == letter and zone.first <= row <= zone.last
                    )
                    out = float(rng.random() < np.clip(chance[place] + fate, 0, 1))
                    rows.append((layout.aircraft_class, f"{start + g:03d}", row, letter, out))
        start += mishaps
    frame = pd.DataFrame(rows, columns=["aircraft_class", "mishap", "seat_row", "seat_side", "out"])
    return frame, np.concatenate(chances)
