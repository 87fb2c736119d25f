"""What the tests of the upper floors share: the demo studies, carried out once, and a study folder to spoil."""

from __future__ import annotations

import datetime
import os
import shutil
from pathlib import Path

os.environ.setdefault(
    "OPENBLAS_NUM_THREADS", "1"
)  # before numpy: threads of small products wait for each other

import pandas as pd
import pytest
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
def demo_results():
    return {name: run(read_study(demo_folder(name)), today=TODAY) for name in DEMO_NAMES}


@pytest.fixture(scope="session")
def demo_papers(demo_results):
    return {name: papers(results, now=NOW) for name, results in demo_results.items()}


@pytest.fixture(scope="session")
def thin_results(tmp_path_factory):
    folder = tmp_path_factory.mktemp("thin")
    return {name: run(read_study(thin_study(name, folder / name)), today=TODAY) for name in THIN}


@pytest.fixture
def study_folder(tmp_path):
    """A copy of the small demo study, to be changed."""
    return Path(shutil.copytree(demo_folder("demo_small"), tmp_path / "study"))


@pytest.fixture
def few_mishaps_folder(tmp_path):
    """A study of seven mishaps, to be changed: it is carried out fast, since no model is made of so few."""
    return thin_study("seven_mishaps", tmp_path / "study")
