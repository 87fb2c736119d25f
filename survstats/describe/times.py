"""How were the times to the way out written down: as bands, as guesses, rounded?"""

from __future__ import annotations

import numpy as np
import pandas as pd


def times_written(frame: pd.DataFrame) -> pd.DataFrame:
    """How the time to the way out was written for each person of a derived frame (n occupants, may be empty).

    Parameters
    ----------
    frame : DataFrame
        Needs ``egress_lo_s``, ``egress_hi_s``, ``egress_time_source`` and ``survived``.

    Returns
    -------
    DataFrame
        True or false. ``given``: a time stands there, of whatever form (from 0 without end says nothing). Of these:
        ``of_survivors``; ``points``, one number; ``bands``, a span, or open at one end; ``multiple_of_five``, one
        number that is a whole multiple of five seconds; ``guesses``, estimated by the person.
    """
    low, high = frame["egress_lo_s"], frame["egress_hi_s"]
    given = (low.fillna(0) > 0) | np.isfinite(high.fillna(np.inf))
    point = given & (low == high)
    columns = {
        "given": given,
        "of_survivors": given & (frame["survived"] == 1),
        "points": point,
        "bands": given & ~point,
        "multiple_of_five": point & (low % 5 == 0),
        "guesses": given & frame["egress_time_source"].eq("self_estimate"),
    }
    return pd.DataFrame({name: column.astype(bool) for name, column in columns.items()}, index=frame.index)
