"""Is every path a command takes refused in one line, in time and with nothing left, where no file can be there?"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from thin import thin_study

pytestmark = pytest.mark.skipif(os.name != "posix", reason="needs pipes and devices")

MAIN = "from survstats.cli.program import main; main()"
TIMEOUT_S = 60
SMALL_BYTES = 100
SMALL = "a place that takes little"
LATE = 3
"""Exit code where a file could not be written."""


def _dangling(path: Path) -> None:
    path.symlink_to(path.parent / "gone")


def _device(path: Path) -> None:
    path.symlink_to("/dev/zero")


PLACES: dict[str, Any] = {
    "folder": Path.mkdir,
    "pipe": os.mkfifo,
    "dangling link": _dangling,
    "device": _device,
    "no parent": None,
    SMALL: None,
}
READ = {
    "brief study": ("brief", "{place}", "--out", "{tmp}/out"),
    "check study": ("check", "{place}"),
    "form study": ("form", "{tmp}/form.xlsx", "--study", "{place}"),
    "map file": ("map", "{place}.csv", "--out", "{tmp}/out.toml"),
    "map workbook": ("map", "{place}.xlsx", "--out", "{tmp}/out.toml"),
    "mapping of a study": ("check", "{study}"),
    "records of a study": ("check", "{study}"),
    "trace": ("trace", "effect.rd", "--in", "{place}"),
}
WRITTEN = {
    "check csv": ("check", "{study}", "--out", "{place}.csv"),
    "check xlsx": ("check", "{study}", "--out", "{place}.xlsx"),
    "map": ("map", "{study}/occupant.csv", "--out", "{place}.toml"),
    "form": ("form", "{place}.xlsx"),
    "brief": ("brief", "{study}", "--out", "{place}"),
    "demo": ("demo", "demo_small", "{place}"),
}
TAKES_A_FOLDER = ("brief", "demo")
NAMES_IN_STUDY = {"mapping of a study": "mapping.toml", "records of a study": "occupant.csv"}


def small() -> None:
    """Files of the child cannot become larger than this."""
    resource.setrlimit(resource.RLIMIT_FSIZE, (SMALL_BYTES, SMALL_BYTES))


def standing(folder: Path) -> set[Path]:
    """All that stands in a folder, but for the log of the runs, which knows of every run."""
    return {path for path in folder.rglob("*") if path.name != "run_log.csv"}


def told(words: tuple[str, ...], tmp_path: Path, place: str, *, within: Path) -> tuple[int, list[str]]:
    """Exit code and stderr of a command; fails where it hangs or leaves anything behind."""
    temporary = tmp_path / "temporary"
    temporary.mkdir()
    before = standing(tmp_path)
    done = subprocess.run(
        [sys.executable, "-c", MAIN, *words],
        cwd=within,
        env={**os.environ, "TMPDIR": str(temporary), "PYTHONDONTWRITEBYTECODE": "1"},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=TIMEOUT_S,
        preexec_fn=small if place == SMALL else None,
        check=False,
    )
    assert standing(tmp_path) == before
    return done.returncode, done.stderr.splitlines()


@pytest.fixture
def study(tmp_path: Path) -> Path:
    return thin_study("seven_mishaps", tmp_path / "study")


def filled(words: tuple[str, ...], tmp_path: Path, place: Path) -> tuple[str, ...]:
    return tuple(word.format(place=place, tmp=tmp_path, study=tmp_path / "study") for word in words)


@pytest.mark.parametrize("place", [name for name, make in PLACES.items() if make])
@pytest.mark.parametrize("command", READ)
def test_what_cannot_be_read(tmp_path: Path, study: Path, command: str, place: str) -> None:
    target = tmp_path / "where"
    words = filled(READ[command], tmp_path, target)
    if command in NAMES_IN_STUDY:
        target = study / NAMES_IN_STUDY[command]
        target.unlink(missing_ok=True)
    elif command.startswith("map"):
        target = Path(words[1])
    PLACES[place](target)
    code, lines = told(words, tmp_path, place, within=tmp_path)
    assert code in (1, 2), lines
    assert len([line for line in lines if line.startswith("survstats: ")]) == 1
    assert lines[-1].startswith("survstats: ")
    assert not any("Traceback" in line or "Exception" in line for line in lines)


@pytest.mark.parametrize(
    ("command", "place"),
    [
        (command, place)
        for command in WRITTEN
        for place in PLACES
        if (command, place) != ("demo", "no parent")
    ],
)
def test_what_cannot_be_written(tmp_path: Path, study: Path, command: str, place: str) -> None:
    target = tmp_path / ("no/where" if place == "no parent" else "where")
    words = filled(WRITTEN[command], tmp_path, target)
    target = Path(next(word for word in words if word.startswith(str(target))))
    make = PLACES[place]
    if make is not None:
        make(target)
        if command in TAKES_A_FOLDER and place == "folder":
            (target / "thesis.txt").write_text("mine", encoding="utf-8")
    code, lines = told(words, tmp_path, place, within=tmp_path)
    assert code in (2, LATE) if command == "demo" else code == LATE, lines
    assert len([line for line in lines if line.startswith("survstats: ")]) == 1
    assert lines[-1].startswith("survstats: ")
    assert not any("Traceback" in line or "Exception" in line for line in lines)
