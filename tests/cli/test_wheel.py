"""Does the installed package run without the checkout?"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from survstats.records.demo import DEMO_NAMES

CHECKOUT = Path(__file__).parents[2]

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def installed(tmp_path_factory):
    """The wheel, built from the checkout and unpacked into a folder of its own."""
    folder = tmp_path_factory.mktemp("wheel")
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "--quiet"]
    build = [*pip, "wheel", str(CHECKOUT), "--no-deps", "--wheel-dir", str(folder)]
    subprocess.run(build, check=True, timeout=300)
    (wheel,) = folder.glob("*.whl")
    target = folder / "site"
    install = [*pip, "install", "--no-deps", "--no-index", "--target", str(target), str(wheel)]
    subprocess.run(install, check=True, timeout=300)
    return target


def test_it_carries_the_demo_and_everything_a_paper_needs(installed):
    package = installed / "survstats"
    for name in DEMO_NAMES:
        for source in (CHECKOUT / "data" / name).iterdir():
            assert (package / "_demo" / name / source.name).read_bytes() == source.read_bytes()
    for source in (CHECKOUT / "survstats").rglob("*"):
        if source.is_file() and "__pycache__" not in source.parts:
            assert (package / source.relative_to(CHECKOUT / "survstats")).is_file(), source


def test_it_makes_the_papers_of_the_demo_far_from_the_checkout(installed, tmp_path):
    script = (
        "import survstats, sys; print(survstats.__file__); from survstats.cli.program import main; main()"
    )
    environment = {**os.environ, "PYTHONPATH": str(installed), "PYTHONSAFEPATH": "1"}
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", script, "brief"],
        cwd=tmp_path,
        env=environment,
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith(str(installed))
    assert (tmp_path / "survstats-brief" / "brief.pdf").stat().st_size > 10_000
