import tomllib

import pytest

from survstats.groundwork.errors import CallError, PublishError
from survstats.records.demo import DEMO_NAMES, DIRTY_NAME, copy_demo, demo_folder

FILES = {"mishap.csv", "occupant.csv", "training_run.csv", "study.toml", "truth.json", "README.md"}


@pytest.mark.parametrize("name", DEMO_NAMES)
def test_every_study_is_whole_and_says_that_it_is_invented(name):
    folder = demo_folder(name)
    assert {path.name for path in folder.iterdir()} == FILES
    assert "invented" in (folder / "README.md").read_text()
    study = tomllib.loads((folder / "study.toml").read_text())
    assert study["invented"] is True
    assert set(study) - {"decision", "other_study"} == {
        "title",
        "place",
        "invented",
        "question",
        "records",
        "cabin",
        "model",
        "imputation",
        "challenge",
        "paper",
        "run",
    }


def test_the_small_broken_studies_come_along_too(tmp_path):
    copy = copy_demo(DIRTY_NAME, tmp_path / "broken")
    assert "invented" in (copy / "README.md").read_text()
    assert (copy / "R7" / "fails" / "study.toml").is_file()
    assert (copy / "planted.csv").read_bytes() == (demo_folder(DIRTY_NAME) / "planted.csv").read_bytes()


def test_an_unknown_name_names_the_known():
    with pytest.raises(CallError, match="demo_small, demo_main") as caught:
        demo_folder("../demo_main")
    assert caught.value.reason == "unknown_demo"


def test_a_copy_is_whole_and_never_overwrites(tmp_path):
    target = copy_demo("demo_small", tmp_path / "new" / "mine")
    for name in FILES:
        assert (target / name).read_bytes() == (demo_folder("demo_small") / name).read_bytes()
    (target / "mishap.csv").write_text("mine")
    with pytest.raises(CallError, match="there already"):
        copy_demo("demo_small", target)
    assert (target / "mishap.csv").read_text() == "mine"
    assert [path.name for path in target.parent.iterdir()] == ["mine"]


def test_a_copy_that_fails_leaves_nothing(tmp_path):
    blocker = tmp_path / "file"
    blocker.write_text("not a folder")
    with pytest.raises(PublishError) as caught:
        copy_demo("demo_small", blocker / "mine")
    assert caught.value.reason == "cannot_write"
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


def test_a_name_too_long_is_refused_and_a_long_one_is_fine(tmp_path):
    with pytest.raises(PublishError) as caught:
        copy_demo("demo_small", tmp_path / ("x" * 300))
    assert caught.value.reason == "cannot_write"
    copy_demo("demo_small", tmp_path / ("x" * 250))
    assert [path.name for path in tmp_path.iterdir()] == ["x" * 250]
