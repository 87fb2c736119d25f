"""Which fields are unknown or empty, and more often for the dead?"""

from __future__ import annotations

import pandas as pd

from survstats.records.loading import Records


def missing_by_outcome(records: Records, derived: pd.DataFrame) -> pd.DataFrame:
    """Cells that are empty, ``unknown`` or ``na``, per field, among the dead and among survivors.

    A mishap's field counts once for each of its occupants.

    Parameters
    ----------
    records : Records
        The records, with their texts.
    derived : DataFrame
        The derived frame of the same records, one row per occupant row in file order.

    Returns
    -------
    DataFrame
        ``table``, ``field``, then ``empty_died``, ``unknown_died``, ``na_died``, ``died`` and the same for
        ``survived``; one row per field of the codebook.
    """
    lived = derived["survived"].to_numpy() == 1
    mishap = records.raw["mishap"].drop_duplicates("mishap_id").set_index("mishap_id", drop=False)
    home = mishap.reindex(derived["mishap_id"])
    home.index.name = None
    rows = []
    for table, texts in (("mishap", home), ("occupant", records.raw["occupant"])):
        for field in texts.columns:
            cells = texts[field].fillna("").to_numpy()
            row: dict[str, str | int] = {"table": table, "field": field}
            for fate, chosen in (("died", ~lived), ("survived", lived)):
                row[f"empty_{fate}"] = int((cells[chosen] == "").sum())
                row[f"unknown_{fate}"] = int((cells[chosen] == "unknown").sum())
                row[f"na_{fate}"] = int((cells[chosen] == "na").sum())
                row[fate] = int(chosen.sum())
            rows.append(row)
    return pd.DataFrame(rows)
