"""Do copied times stand out, and times that are alike by chance not?"""

import numpy as np
import pandas as pd
import pytest

from survstats.records.copied import FEWEST_COPIED, RARER_THAN, copied_mishaps


def people(mishap, spans, source="witness", survived=1):
    return pd.DataFrame(
        {
            "mishap_id": mishap,
            "egress_lo_s": [float(low) for low, _ in spans],
            "egress_hi_s": [float(high) for _, high in spans],
            "egress_time_source": source,
            "survived": survived,
        }
    )


OTHERS = pd.concat([people(f"M{k}", [(k + at, k + at + 5) for at in range(1, 7)]) for k in range(10)])


def slow(frame):
    """One mishap after the other, one pair of people after the other."""
    told = [
        row
        for row in frame.itertuples()
        if row.survived == 1
        and row.egress_lo_s > 0
        and row.egress_hi_s < np.inf
        and row.egress_time_source != "self_estimate"
    ]
    by_mishap = {}
    for row in told:
        by_mishap.setdefault(row.mishap_id, []).append((row.egress_lo_s, row.egress_hi_s))
    looked_at = {name: spans for name, spans in by_mishap.items() if len(spans) >= FEWEST_COPIED}
    found = []
    for name, spans in looked_at.items():
        elsewhere = [span for other, there in by_mishap.items() if other != name for span in there]
        how_common = (elsewhere.count(spans[0]) + 1) / (len(elsewhere) + 2)
        chance = how_common ** (len(spans) - 1) * len(looked_at)
        if len(set(spans)) == 1 and chance < RARER_THAN:
            found.append(name)
    return sorted(found)


def test_one_time_for_all_stands_out_and_three_are_too_few():
    assert copied_mishaps(pd.concat([OTHERS, people("X", [(12, 14)] * 4)])) == ["X"]
    assert copied_mishaps(pd.concat([OTHERS, people("X", [(12, 14)] * 3)])) == []
    assert copied_mishaps(OTHERS) == []
    assert copied_mishaps(OTHERS[:0]) == []


@pytest.mark.parametrize(
    "changes",
    [{"source": "self_estimate"}, {"survived": 0}, {"spans": [(0, 20)] * 4}, {"spans": [(20, np.inf)] * 4}],
)
def test_times_that_are_no_evidence(changes):
    spans = changes.pop("spans", [(12, 14)] * 4)
    assert copied_mishaps(pd.concat([OTHERS, people("X", spans, **changes)])) == []


def test_a_time_that_all_have_everywhere_is_no_copy():
    everywhere = pd.concat([people(f"M{k}", [(10, 20)] * 5) for k in range(12)])
    assert copied_mishaps(everywhere) == []


@pytest.mark.parametrize("seed", range(20))
def test_the_slow_way(seed):
    rng = np.random.default_rng(seed)
    n = 120
    low = rng.integers(0, 4, n) * 10.0
    frame = pd.DataFrame(
        {
            "mishap_id": [f"M{k}" for k in rng.integers(0, 25, n)],
            "egress_lo_s": np.where(rng.random(n) < 0.1, np.nan, low),
            "egress_hi_s": np.where(rng.random(n) < 0.1, np.inf, low + 10),
            "egress_time_source": rng.choice(["witness", "self_estimate"], n, p=[0.8, 0.2]),
            "survived": rng.integers(0, 2, n),
        }
    )
    frame = pd.concat([frame, people("X", [(77, 78)] * int(rng.integers(3, 6)))], ignore_index=True)
    assert copied_mishaps(frame) == slow(frame)
