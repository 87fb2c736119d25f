"""What the tests of the upper floors share: the demo studies, carried out once, and a study folder to spoil."""

from __future__ import annotations

import datetime
import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

os.environ.setdefault(
    "OPENBLAS_NUM_THREADS", "1"
)  # before numpy: threads of small products wait for each other

import pandas as pd
import pytest
from shared import Shared
from thin import THIN, thin_study

from survstats.records.demo import DEMO_NAMES, demo_folder
from survstats.report.papers import papers
from survstats.study.plan import read_study
from survstats.study.run import run

TODAY = datetime.date(2026, 11, 24)
NOW = datetime.datetime(2026, 11, 24, 12, 0, tzinfo=datetime.UTC)


@pytest.fixture(scope="session")
def occupants_90():
    return pd.read_csv(Path(__file__).parent / "golden" / "occupants_90.csv")


@pytest.fixture(scope="session")
def made_once(tmp_path_factory):
    """Something by name, made by the first process that asks for it and read by the others."""
    own = tmp_path_factory.getbasetemp()
    place = own.parent if "PYTEST_XDIST_WORKER" in os.environ else own

    def shared(kind: str, names: tuple[str, ...], make: Callable[[str], Any]) -> Shared:
        return Shared(place / kind, names, make)

    return shared


@pytest.fixture(scope="session")
def demo_results(made_once):
    return made_once("demos", DEMO_NAMES, lambda name: run(read_study(demo_folder(name)), today=TODAY))


@pytest.fixture(scope="session")
def demo_papers(made_once, demo_results):
    return made_once("papers", DEMO_NAMES, lambda name: papers(demo_results[name], now=NOW))


@pytest.fixture(scope="session")
def thin_results(made_once, tmp_path_factory):
    folder = tmp_path_factory.mktemp("thin")

    def carried_out(name):
        return run(read_study(thin_study(name, folder / name)), today=TODAY)

    return made_once("thin", tuple(THIN), carried_out)


@pytest.fixture
def study_folder(tmp_path):
    """A copy of the small demo study, to be changed."""
    return Path(shutil.copytree(demo_folder("demo_small"), tmp_path / "study"))


@pytest.fixture
def few_mishaps_folder(tmp_path):
    """A study of seven mishaps, to be changed: it is carried out fast, since no model is made of so few."""
    return thin_study("seven_mishaps", tmp_path / "study")
