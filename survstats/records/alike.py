"""Which rows of the mishap table tell of the same mishap?"""

from __future__ import annotations

import numpy as np
import pandas as pd


def second_source(mishap: pd.DataFrame) -> pd.Series[bool]:
    """Whether each row tells of a mishap that another id tells of as well, and better (g mishaps).

    The same mishap: same day, class and number aboard. The row of the best ``report_quality`` stays (A before D,
    unknown last), of equal ones that of the smaller id, whatever the order of the rows.
    """
    key = ["event_date", "aircraft_class", "n_aboard"]
    known = mishap[key].notna().all(axis=1) & ~mishap["aircraft_class"].isin(["unknown", "na"])
    once = mishap[known & ~mishap.duplicated("mishap_id")]
    once = once.assign(quality=once["report_quality"].map({"A": 0, "B": 1, "C": 2, "D": 3}).astype(float))
    again = once.sort_values(["quality", "mishap_id"], kind="stable").duplicated(key)
    return mishap.index.to_series().isin(again.index[again])


def perhaps_alike(mishap: pd.DataFrame) -> pd.Series[str]:
    """The id of another row that perhaps tells of the same mishap; missing where there is none (g mishaps).

    At most a day apart, numbers aboard within 1, the same class; class or number may be unknown in one of them. Pairs
    that `second_source` is sure of are not among them. The later row of a pair gets the id.
    """
    again = second_source(mishap)
    once = mishap[~mishap.duplicated("mishap_id") & mishap["event_date"].notna() & ~again]
    once = once.sort_values("event_date", kind="stable")
    day = once["event_date"].to_numpy("datetime64[D]").astype(int)
    class_ = once["aircraft_class"].astype(object).where(~once["aircraft_class"].isin(["unknown", "na"]))
    classes, known = class_.to_numpy(object), class_.notna().to_numpy(bool)
    aboard, place = once["n_aboard"].to_numpy(float), mishap.index.get_indexer(once.index)
    ids, other = mishap["mishap_id"].to_numpy(object), np.full(len(mishap), None, dtype=object)
    for step in range(1, len(once)):
        near = day[step:] - day[:-step] <= 1
        if not near.any():
            break
        same = (classes[step:] == classes[:-step]) | ~known[step:] | ~known[:-step]
        pair = near & same & ~(np.abs(aboard[step:] - aboard[:-step]) > 1)
        one, two = place[:-step][pair], place[step:][pair]
        other[np.maximum(one, two)] = ids[np.minimum(one, two)]
    return pd.Series(other, index=mishap.index, dtype=object)
