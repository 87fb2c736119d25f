import os
from pathlib import Path

import pytest

from survstats.groundwork.errors import RecordsError, StudyFileError
from survstats.groundwork.file_bytes import LARGEST_BYTES, read_file


def test_an_ordinary_file_is_read_also_through_a_link(tmp_path):
    (tmp_path / "a").write_bytes(b"one")
    (tmp_path / "b").symlink_to(tmp_path / "a")
    assert read_file(tmp_path / "b") == b"one"


@pytest.mark.parametrize("kind", [RecordsError, StudyFileError])
@pytest.mark.parametrize(
    ("make", "reason", "said"),
    [
        (lambda _path: None, "missing_file", "There is no file a.csv."),
        (
            lambda path: path.symlink_to("gone"),
            "missing_file",
            "a.csv is a link to a file that is not there.",
        ),
        (lambda path: path.symlink_to("a.csv"), "not_readable", "a.csv cannot be read"),
        (lambda path: path.mkdir(), "not_a_file", "a.csv is a folder, not a file."),
        (lambda path: os.mkfifo(path), "not_a_file", "a.csv is a pipe or a device, not a file."),
        (lambda path: path.symlink_to("/dev/zero"), "not_a_file", "a.csv is a pipe or a device, not a file."),
    ],
)
def test_what_cannot_be_read_whole_is_refused_unopened(make, reason, said, kind, tmp_path):
    make(tmp_path / "a.csv")
    with pytest.raises(kind) as caught:
        read_file(tmp_path / "a.csv", kind=kind)
    assert caught.value.reason == reason
    assert caught.value.plain.startswith(said)
    assert caught.value.remedy


def test_the_caller_may_say_where_the_name_comes_from(tmp_path):
    with pytest.raises(RecordsError) as caught:
        read_file(tmp_path / "a.csv", remedy="Check its name in the study file.")
    assert caught.value.remedy == "Check its name in the study file."


def test_a_file_beyond_the_limit_or_the_memory_is_refused(tmp_path, monkeypatch):
    path = tmp_path / "a.csv"
    with path.open("wb") as file:
        file.truncate(LARGEST_BYTES + 1)
    with pytest.raises(RecordsError, match="larger than 2 GB") as caught:
        read_file(path)
    assert caught.value.reason == "too_large"
    os.truncate(path, 3)

    def full(_path):
        raise MemoryError

    monkeypatch.setattr(Path, "read_bytes", full)
    with pytest.raises(RecordsError, match="than the memory holds") as caught:
        read_file(path)
    assert caught.value.reason == "too_large"


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read everything")
def test_a_locked_file_is_named(tmp_path):
    (tmp_path / "a.csv").write_bytes(b"x")
    (tmp_path / "a.csv").chmod(0)
    with pytest.raises(RecordsError, match=r"a\.csv cannot be read"):
        read_file(tmp_path / "a.csv")
