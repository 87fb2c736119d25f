"""Is the package light, are its public names all there, and is there one copy of everything?"""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

import survstats
from survstats.records.demo import DEMO_NAMES, DIRTY_NAME, demo_folder

CHECKOUT = Path(__file__).parents[1]
HEAVY = (
    "numpy",
    "pandas",
    "scipy",
    "statsmodels",
    "matplotlib",
    "pydantic",
    "typst",
    "jinja2",
    "lifelines",
    "seaborn",
)


def modules_after(statement: str) -> set[str]:
    script = f"{statement}\nimport sys; print(*sys.modules)"
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", script], capture_output=True, text=True, check=True
    )
    return {name.split(".")[0] for name in done.stdout.splitlines()[-1].split()}


@pytest.mark.parametrize("name", survstats.__all__)
def test_every_public_name_can_be_used(name):
    assert getattr(survstats, name) is not None
    assert name in dir(survstats)


def test_no_module_of_a_study_but_its_results_is_open_to_the_papers():
    settings = tomllib.loads((CHECKOUT / "pyproject.toml").read_text(encoding="utf-8"))
    contracts = settings["tool"]["importlinter"]["contracts"]
    (papers,) = (one for one in contracts if one.get("source_modules") == ["survstats.report"])
    modules = {path.stem for path in (Path(survstats.__file__).parent / "study").glob("*.py")}
    closed = {name.removeprefix("survstats.study.") for name in papers["forbidden_modules"]}
    assert modules - closed == {"__init__", "headline", "results", "trace"}


def test_another_name_is_no_attribute():
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        _ = survstats.nothing


def test_importing_the_package_loads_nothing_heavy():
    assert not modules_after("import survstats") & set(HEAVY)


def test_weighing_a_headline_loads_neither_numpy_nor_pandas():
    call = (
        "from survstats.cli.program import run_command; "
        "run_command('claim --aboard 100 --died 40 --trained-of-survivors 80%'.split())"
    )
    assert not modules_after(call) & {"numpy", "pandas", "scipy", "matplotlib", "statsmodels"}


def test_help_loads_nothing_heavy():
    assert not modules_after("from survstats.cli.program import run_command; run_command(['--help'])") & set(
        HEAVY
    )


def test_package_files_hold_no_imports():
    for path in (CHECKOUT / "survstats").glob("*/__init__.py"):
        assert "import" not in path.read_text(encoding="utf-8"), path


def test_the_wheel_takes_the_demo_studies_from_the_one_copy():
    project = tomllib.loads((CHECKOUT / "pyproject.toml").read_text(encoding="utf-8"))
    mapped = project["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"]
    studies = {path.name for path in (CHECKOUT / "data").iterdir() if (path / "study.toml").is_file()}
    assert studies == set(DEMO_NAMES)
    assert mapped == {f"data/{name}": f"survstats/_demo/{name}" for name in (*studies, DIRTY_NAME)}
    assert not (CHECKOUT / "survstats" / "_demo").exists()
    for name in studies:
        assert demo_folder(name) == CHECKOUT / "data" / name


def test_the_version_stands_in_one_place():
    project = tomllib.loads((CHECKOUT / "pyproject.toml").read_text(encoding="utf-8"))
    assert project["project"]["dynamic"] == ["version"]
    assert project["tool"]["hatch"]["version"]["path"] == "survstats/__init__.py"
