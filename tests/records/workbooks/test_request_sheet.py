"""Are the right people asked for, and does the request keep to itself who lived?"""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from survstats.records.demo import demo_folder
from survstats.records.loading import Records, read_records
from survstats.records.workbooks.collection_form import write_form
from survstats.records.workbooks.request_sheet import missing_papers

NOTHING: dict[str, str] = {
    "training_ever": "",
    "training_type": "",
    "training_evidence": "",
    "training_last_date": "",
}


def asked(study: Any, *changes: dict[str, str]) -> list[tuple[str, str]]:
    records = study.records([study.mishap()], study.people("M1", *changes))
    frame = missing_papers(records)
    return list(zip(frame["occupant_id"], frame["asked"], strict=True))


def request_rows(path: Path, *, with_papers: Records | None = None) -> list[tuple[Any, ...]]:
    write_form(path, records=with_papers)
    rows = list(openpyxl.load_workbook(path)["request"].iter_rows(values_only=True))
    head = next(at for at, row in enumerate(rows) if row[0] == "Mishap")
    return rows[head:]


@pytest.fixture
def small() -> Records:
    folder = demo_folder("demo_small")
    return read_records(folder / "mishap.csv", folder / "occupant.csv")


def test_nobody_is_asked_for_where_all_papers_are_there(study: Any) -> None:
    assert asked(study) == []


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"training_ever": "unknown", "training_type": "unknown"}, "status"),
        (NOTHING, "status"),
        ({"training_ever": "na"}, "status"),
        ({"training_type": "unknown"}, "kind"),
        ({"training_type": ""}, "kind"),
        ({"training_last_date": ""}, "date"),
        ({"training_last_date": "unknown"}, "date"),
        ({"training_evidence": "self_report"}, "evidence"),
        ({"training_evidence": "next_of_kin"}, "evidence"),
        ({"training_evidence": ""}, "evidence"),
        ({"training_type": "briefing_only", "training_last_date": ""}, None),
        ({"training_evidence": "roster"}, None),
    ],
)
def test_each_gap_is_asked_about(study: Any, change: dict[str, str], code: str | None) -> None:
    assert asked(study, change) == ([("0", code)] if code else [])


def test_the_untrained_are_asked_about_only_without_evidence(study: Any) -> None:
    assert asked(study, {}, {}, {"training_evidence": "inferred"}) == [("2", "evidence")]


def test_the_dead_are_asked_for_like_the_living(study: Any) -> None:
    before = asked(study, *[{"training_evidence": "inferred"}] * 3)
    after = asked(
        study, {**study.drowned, "training_evidence": "inferred"}, *[{"training_evidence": "inferred"}] * 2
    )
    assert before == after == [("0", "evidence"), ("1", "evidence"), ("2", "evidence")]


def test_the_sheet_tells_nothing_of_outcomes(small: Records, tmp_path: Path) -> None:
    """The same sheet comes out when everything that happened to people is swapped."""
    folder = demo_folder("demo_small")
    header, *lines = (folder / "occupant.csv").read_text(encoding="utf-8").splitlines()
    names = header.split(",")
    cut = names.index("suit_worn")
    ends = [line.split(",")[cut:] for line in lines][::-1]
    swapped = [",".join([*line.split(",")[:cut], *end]) for line, end in zip(lines, ends, strict=True)]
    (tmp_path / "occupant.csv").write_text("\n".join([header, *swapped]), encoding="utf-8")
    other = read_records(folder / "mishap.csv", tmp_path / "occupant.csv")
    one = request_rows(tmp_path / "one.xlsx", with_papers=small)
    assert one == request_rows(tmp_path / "two.xlsx", with_papers=other)
    assert not {"survived", "died", "missing_presumed_dead"} & {str(cell) for row in one for cell in row}


def test_codes_days_and_questions_are_filled_in_and_answers_left_open(small: Records, tmp_path: Path) -> None:
    head, *rows = request_rows(tmp_path / "form.xlsx", with_papers=small)
    frame = missing_papers(small)
    assert len(rows) == len(frame) > 10
    keys = set(zip(small.occupant["mishap_id"], small.occupant["occupant_id"], strict=True))
    for row in rows:
        assert (row[0], row[1]) in keys
        assert isinstance(row[2], datetime.datetime)
        assert row[5]
        assert row[6:] == (None,) * len(row[6:])
    assert head[6] == "Ever trained?"
    assert [row[3] for row in rows] == sorted(row[3] for row in rows)


def test_answers_have_the_lists_of_the_codebook(tmp_path: Path) -> None:
    head, *rows = request_rows(tmp_path / "form.xlsx")
    sheet = openpyxl.load_workbook(tmp_path / "form.xlsx")["request"]
    lists = [rule for rule in sheet.data_validations.dataValidation if rule.type == "list"]
    assert len(lists) == 5  # role, ever trained, kind, precision, evidence
    assert len(rows) >= 20
    assert all(cell is None for row in rows for cell in row)
    assert len(head) == 14
