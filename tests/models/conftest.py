"""Data the tests of the models share."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

GOLDEN = Path(__file__).parents[1] / "golden"
REFERENCE = Path(__file__).parents[1] / "reference"


@pytest.fixture(scope="session")
def occupants():
    return pd.read_csv(GOLDEN / "occupants_90.csv")


@pytest.fixture(scope="session")
def endometrial():
    return pd.read_csv(GOLDEN / "endometrial.csv")


@pytest.fixture(scope="session")
def infert():
    return pd.read_csv(GOLDEN / "infert.csv")


@pytest.fixture(scope="session")
def titanic():
    cells = pd.read_csv(GOLDEN / "titanic_cells.csv")
    people = cells.loc[cells.index.repeat(cells["Freq"])].reset_index(drop=True)
    return pd.DataFrame(
        {
            "lived": (people["Survived"] == "Yes").astype(int),
            "class": pd.Categorical(people["Class"], ["1st", "2nd", "3rd", "Crew"]),
            "female": (people["Sex"] == "Female").astype(int),
            "adult": (people["Age"] == "Adult").astype(int),
            "person": np.arange(len(people)),
        }
    )


@pytest.fixture(scope="session")
def references():
    return {name: pd.read_csv(REFERENCE / f"{name}.csv") for name in ("logistic", "penalised", "conditional")}
