"""Does a file appear whole or not at all, and does what stands there stay where it must?"""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from survstats.groundwork import whole_file
from survstats.groundwork.errors import PublishError
from survstats.groundwork.whole_file import check_place, write_whole


def test_a_new_file_and_a_replaced_one(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    write_whole(path, b"one")
    assert path.read_bytes() == b"one"
    with pytest.raises(PublishError) as fault:
        write_whole(path, b"two")
    assert (fault.value.reason, path.read_bytes()) == ("file_exists", b"one")
    path.chmod(0o640)
    write_whole(path, b"two", replace=True)
    assert path.read_bytes() == b"two"
    assert path.stat().st_mode & 0o777 == 0o640  # who may read it stays as it was
    assert list(tmp_path.iterdir()) == [path]


def test_a_link_to_a_file_stays_a_link(tmp_path: Path) -> None:
    (tmp_path / "real.csv").write_bytes(b"one")
    (tmp_path / "link.csv").symlink_to("real.csv")
    write_whole(tmp_path / "link.csv", b"two", replace=True)
    assert (tmp_path / "link.csv").is_symlink()
    assert (tmp_path / "real.csv").read_bytes() == b"two"


@pytest.mark.parametrize("replace", [True, False])
@pytest.mark.parametrize(
    "make", [os.mkfifo, Path.mkdir, lambda p: p.symlink_to("gone"), lambda p: p.symlink_to("/dev/zero")]
)
def test_only_an_ordinary_file_is_ever_replaced(tmp_path: Path, make, replace: bool) -> None:
    path = tmp_path / "a.csv"
    make(path)
    with pytest.raises(PublishError) as fault:
        check_place(path, replace=replace)
    assert fault.value.reason == "not_a_file"


def test_a_file_that_may_not_be_written_stays(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(b"one")
    monkeypatch.setattr(whole_file.os, "access", lambda *_: False)  # root may write everywhere
    with pytest.raises(PublishError) as fault:
        write_whole(path, b"two", replace=True)
    assert (fault.value.reason, path.read_bytes()) == ("not_writable", b"one")


@pytest.mark.parametrize(
    ("code", "reason"),
    [
        (errno.ENOSPC, "disk_full"),
        (errno.EDQUOT, "disk_full"),
        (errno.EROFS, "not_writable"),
        (errno.EFBIG, "not_written"),
    ],
)
@pytest.mark.parametrize("replace", [True, False])
def test_what_the_system_refuses_leaves_all_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: int, reason: str, replace: bool
) -> None:
    def fail(*_: object) -> None:
        raise OSError(code, os.strerror(code))

    path = tmp_path / "a.csv"
    if replace:
        path.write_bytes(b"one")
    monkeypatch.setattr(whole_file.os, "fsync", fail)
    with pytest.raises(PublishError) as fault:
        write_whole(path, b"two", replace=replace)
    assert fault.value.reason == reason
    assert [file.read_bytes() for file in tmp_path.iterdir()] == ([b"one"] if replace else [])


@pytest.mark.parametrize("taken", [True, False])
def test_a_file_system_without_links(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, taken: bool) -> None:
    path = tmp_path / "a.csv"

    def no_links(*_: object) -> None:
        if taken:  # by another program, in the meantime
            path.write_bytes(b"theirs")
        raise OSError(errno.EPERM, "no links here")

    monkeypatch.setattr(whole_file.os, "link", no_links)
    if taken:
        with pytest.raises(PublishError) as fault:
            write_whole(path, b"ours")
        assert fault.value.reason == "file_exists"
    else:
        write_whole(path, b"ours")
    assert [file.read_bytes() for file in tmp_path.iterdir()] == [b"theirs" if taken else b"ours"]
