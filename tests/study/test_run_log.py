"""Does the log count plans and not runs, survive two writers, and never stop a study?"""

from __future__ import annotations

import csv
import os
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

import survstats
from survstats.records.demo import demo_folder
from survstats.study import run_log
from survstats.study.run_log import COLUMNS, LOG_FILE, LogEntry, log_run

PLAN, OTHER_PLAN, RECORDS, OTHER_RECORDS = ("a" * 64, "b" * 64, "c" * 64, "d" * 64)


def rows(folder):
    return list(csv.reader((folder / LOG_FILE).read_text(encoding="utf-8").splitlines()))


def test_plans_are_counted_and_runs_are_not(tmp_path):
    first = LogEntry("kept", plan_number=1, plans_here=1, plans=1, states=1, shared=0)
    assert log_run(tmp_path, plan=PLAN, records=RECORDS) == first
    assert log_run(tmp_path, plan=PLAN, records=RECORDS) == first
    assert log_run(tmp_path, plan=OTHER_PLAN, records=RECORDS) == replace(
        first, plan_number=2, plans_here=2, plans=2
    )
    # the first plan is still the first, however many came after it
    assert log_run(tmp_path, plan=PLAN, records=RECORDS) == replace(first, plans_here=2, plans=2)
    assert log_run(tmp_path, plan=PLAN, records=OTHER_RECORDS) == replace(first, plans=2, states=2)
    assert log_run(tmp_path, plan="e" * 64, records=OTHER_RECORDS) == replace(
        first, plan_number=2, plans_here=2, plans=3, states=2
    )
    kept = rows(tmp_path)
    assert tuple(kept[0]) == COLUMNS
    pairs = [(PLAN, RECORDS), (OTHER_PLAN, RECORDS), (PLAN, OTHER_RECORDS), ("e" * 64, OTHER_RECORDS)]
    assert [tuple(row[1:3]) for row in kept[1:]] == pairs
    assert {row[3] for row in kept[1:]} == {survstats.__version__}
    assert {row[4] for row in kept[1:]} == {"board"}


def test_papers_for_sharing_are_counted_by_plan_filter_and_smallest_count(tmp_path):
    def shared(plan, records=RECORDS, smallest_cell=5):
        return log_run(tmp_path, plan=plan, records=records, smallest_cell=smallest_cell).shared

    assert log_run(tmp_path, plan=PLAN, records=RECORDS).shared == 0
    assert [shared(PLAN), shared(PLAN)] == [1, 1]
    assert shared(OTHER_PLAN) == 2
    assert shared(OTHER_PLAN, smallest_cell=10) == 3
    assert shared(PLAN, OTHER_RECORDS) == 1
    last = log_run(tmp_path, plan=PLAN, records=RECORDS)
    assert (last.plan_number, last.plans_here, last.shared) == (1, 2, 3)
    assert [row[4] for row in rows(tmp_path)[1:]] == ["board", *["sharing-5"] * 2, "sharing-10", "sharing-5"]


@pytest.mark.parametrize(
    "content",
    [
        b"time,plan\n",
        f"{','.join(COLUMNS)}\nt,{'a' * 64},{'b' * 64},0.1,everybody\n".encode(),  # no such reader
        f"{','.join(COLUMNS)}\nt,{'a' * 64},{'z' * 64},0.1,board\n".encode(),  # no fingerprint
        b"\xff\xfe\x00",
        b"some,other,table,here\n1,2,3,4\n",
        ("time,plan,records,survstats\n2026-01-01T00:00:00Z," + "a" * 30).encode(),  # a torn line
        ("time,plan,records,survstats\n2026-01-01T00:00:00Z," + "a" * 30 + "\n").encode(),
        b'time,plan,records,survstats\n"never closed\n',
        b"\x00" * 100,
    ],
)
def test_what_is_no_log_is_told_and_left_as_it_is(tmp_path, content):
    (tmp_path / LOG_FILE).write_bytes(content)
    assert log_run(tmp_path, plan=PLAN, records=RECORDS) == LogEntry("damaged")
    assert (tmp_path / LOG_FILE).read_bytes() == content


def test_a_log_of_absurd_size_is_not_read(tmp_path):
    with (tmp_path / LOG_FILE).open("wb") as file:
        file.truncate(10_000_001)
    assert log_run(tmp_path, plan=PLAN, records=RECORDS).state == "damaged"


def test_a_link_a_folder_or_a_pipe_in_its_place_is_left_alone(tmp_path):
    target = tmp_path / "elsewhere.txt"
    target.write_text("mine")
    for name, make in (
        ("link", lambda path: path.symlink_to(target)),
        ("folder", lambda path: path.mkdir()),
        ("pipe", os.mkfifo),
    ):
        folder = tmp_path / name
        folder.mkdir()
        make(folder / LOG_FILE)
        assert log_run(folder, plan=PLAN, records=RECORDS).state == "damaged"
    assert target.read_text() == "mine"


def test_a_place_that_cannot_be_written_keeps_no_log(tmp_path, monkeypatch):
    assert log_run(tmp_path / "nowhere", plan=PLAN, records=RECORDS) == LogEntry("not_kept")

    def refused(*_words):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(run_log.os, "open", refused)
    assert log_run(tmp_path, plan=PLAN, records=RECORDS) == LogEntry("not_kept")


def test_a_full_disk_leaves_no_torn_line(tmp_path, monkeypatch):
    log_run(tmp_path, plan=PLAN, records=RECORDS)
    before = (tmp_path / LOG_FILE).read_bytes()
    whole = os.write
    monkeypatch.setattr(run_log.os, "write", lambda descriptor, text: whole(descriptor, text[:20]))
    assert log_run(tmp_path, plan=OTHER_PLAN, records=RECORDS) == LogEntry("not_kept")
    assert (tmp_path / LOG_FILE).read_bytes() == before


def test_the_shipped_studies_are_never_written_into(tmp_path):
    folder = demo_folder("demo_small")
    assert log_run(folder, plan=PLAN, records=RECORDS) == LogEntry("not_kept")
    (tmp_path / "link").symlink_to(folder)
    assert log_run(tmp_path / "link", plan=PLAN, records=RECORDS) == LogEntry("not_kept")
    assert not (folder / LOG_FILE).exists()
    copy = Path(shutil.copytree(folder, tmp_path / "copy"))
    assert log_run(copy, plan=PLAN, records=RECORDS).state == "kept"


def test_many_writers_at_once_lose_nothing(tmp_path):
    each = 25
    program = (
        "import sys; from pathlib import Path; from survstats.study.run_log import log_run\n"
        f"for i in range({each}):\n"
        "    entry = log_run(Path(sys.argv[1]), plan=sys.argv[2] * 62 + f'{i:02d}', records='c' * 64)\n"
        "    assert entry.state == 'kept', entry\n"
    )
    started = [subprocess.Popen([sys.executable, "-c", program, str(tmp_path), letter]) for letter in "abcd"]
    assert [process.wait() for process in started] == [0] * 4
    kept = rows(tmp_path)
    assert tuple(kept[0]) == COLUMNS
    assert len(kept) == 1 + 4 * each == 1 + len({row[1] for row in kept[1:]})
    assert log_run(tmp_path, plan=PLAN, records=RECORDS) == LogEntry(
        "kept", 4 * each + 1, 4 * each + 1, 4 * each + 1, states=1, shared=0
    )
