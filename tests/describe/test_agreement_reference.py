"""Does the agreement of coders agree with R's vcd? Frozen by tests/reference/kappa.R."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from survstats.describe.agreement import weighted_kappa

FROZEN = pd.read_csv(Path(__file__).parents[1] / "reference" / "kappa.csv").set_index("data")


@pytest.mark.parametrize("name", FROZEN.index)
def test_weighted_kappa_is_that_of_vcd(name):
    frozen = FROZEN.loc[name]
    codes = int(frozen["codes"])
    counts = np.array(frozen["cells"].split(), dtype=int).reshape(codes, codes)
    assert weighted_kappa(counts).value == pytest.approx(frozen["kappa"], rel=1e-10)
