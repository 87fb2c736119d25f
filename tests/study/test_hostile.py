"""Does text that is meant to break a page, a table or a terminal come out harmless, or is it refused in a sentence?"""

from __future__ import annotations

import csv
import io
import re

import pytest
from thin import read_tables, write_tables

from survstats.cli import run_command

HOSTILE = {
    "html": "<script>alert(1)</script><b>&amp;\"'",
    "typst": "#panic(\"x\") $x$ *b* _i_ `r` \\ @ref <label> = h",
    "jinja": "{{ 7*7 }}{% raw %}{# c #}",
    "slot": "{effect.rd|points} *strong*",
    "formula": "=cmd|' /C calc'!A0",
    "comma": 'a,b;"c"',
    "path": "../../../etc/passwd",
    "long word": "x" * 118,
    "long text": "many words in a row " * 5,
    "quotes": "\u201cit\u2019s\u201d \u2013 na\u00efve \u0141\u00f3d\u017a \u00c5land",
    "nothing": "   ",
}
#: Letters that the fonts of the paper may lack: a clear refusal is as good as a page.
UNPRINTABLE = {
    "right to left": "\u202etxt.exe\u202c \u05e9\u05dc\u05d5\u05dd \u0645\u0631\u062d\u0628\u0627",
    "emoji": "\U0001f681\U0001f468\u200d\U0001f469\u200d\U0001f467",
    "combining": "Z\u0351\u036b\u0343a\u0363\u0368l\u0358g\u0327o",
    "zero width": "a\u200bb\ufeffc",
    "chinese": "\u5357\u6d77",
}


def brief(folder, out, capsys):
    code = run_command(["brief", str(folder), "--out", str(out)])
    told = capsys.readouterr().err
    assert code != 70, told
    assert "Traceback" not in told
    return code, told


def with_texts(folder, text):
    quoted = '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
    plan = (folder / "study.toml").read_text(encoding="utf-8")
    for key in ("title", "place", "prepared_by", "reviewed_by", "funding"):
        plan = re.sub(rf"(?m)^{key} = .*$", lambda _, key=key: f"{key} = {quoted}", plan)
    (folder / "study.toml").write_text(plan, encoding="utf-8")


@pytest.mark.parametrize("name", HOSTILE)
def test_texts_of_the_study_file_come_out_as_they_stand(study_folder, tmp_path, capsys, name):
    text = HOSTILE[name]
    with_texts(study_folder, text)
    code, told = brief(study_folder, tmp_path / "out", capsys)
    assert code == 0, told
    page = (tmp_path / "out" / "brief.html").read_text(encoding="utf-8")
    assert "<script" not in page
    if name in ("html", "jinja", "typst", "slot"):
        from bs4 import BeautifulSoup

        assert text in BeautifulSoup(page, "html.parser").find(class_="signed").get_text()


@pytest.mark.parametrize("name", UNPRINTABLE)
def test_letters_the_fonts_lack_are_printed_or_refused_in_a_sentence(study_folder, tmp_path, capsys, name):
    with_texts(study_folder, UNPRINTABLE[name])
    code, told = brief(study_folder, tmp_path / "out", capsys)
    assert code in (0, 2, 3)
    assert (tmp_path / "out").exists() == (code == 0)
    if code:
        sentence = told.strip().splitlines()[-1]
        assert sentence.startswith("survstats: ")
        assert re.search(r"character|font|letter", sentence), sentence


@pytest.mark.parametrize("name", [*HOSTILE, *UNPRINTABLE])
def test_texts_of_the_records_never_break_a_table_or_a_page(study_folder, tmp_path, capsys, name):
    text = {**HOSTILE, **UNPRINTABLE}[name].strip() or "x"
    mishap, occupant = read_tables(study_folder)
    new = {mishap["mishap_id"][0]: text}
    for table in (mishap, occupant):
        table["mishap_id"] = table["mishap_id"].replace(new)
    occupant.loc[1, "exit_used"] = text
    occupant.loc[1, "occupant_id"] = text
    mishap["operator_code"] = mishap["operator_code"].replace({"N": text})
    write_tables(study_folder, (mishap, occupant))
    code, told = brief(study_folder, tmp_path / "out", capsys)
    assert code == 0, told
    for path in (tmp_path / "out" / "tables").glob("*.csv"):
        rows = list(csv.reader(io.StringIO(path.read_text(encoding="utf-8"), newline="")))
        assert len({len(row) for row in rows}) == 1, path.name
        assert not any(cell.startswith("=") for row in rows for cell in row), path.name


@pytest.mark.parametrize("name", [*HOSTILE, *UNPRINTABLE])
def test_hostile_codes_are_found_and_told(study_folder, tmp_path, capsys, name):
    text = {**HOSTILE, **UNPRINTABLE}[name].strip() or "x"
    mishap, occupant = read_tables(study_folder)
    occupant.loc[2, "outcome"] = text
    write_tables(study_folder, (mishap, occupant))
    code, told = brief(study_folder, tmp_path / "out", capsys)
    assert code == 1
    assert "occupant.csv, row 4, outcome" in told
    assert not (tmp_path / "out").exists()
    findings = tmp_path / "findings.csv"
    assert run_command(["check", str(study_folder), "--out", str(findings)]) == 1
    capsys.readouterr()
    rows = list(csv.reader(io.StringIO(findings.read_text(encoding="utf-8"), newline="")))
    assert len({len(row) for row in rows}) == 1
