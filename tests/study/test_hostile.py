"""Does text that is meant to break a page, a table or a terminal come out harmless, or is it refused in a sentence?"""

from __future__ import annotations

import csv
import io
import json
import re

import pytest
from thin import read_tables, write_tables

from survstats.cli.program import run_command
from survstats.groundwork.cells import clean_text

HOSTILE = {
    "html": "<script>alert(1)</script><b>&amp;\"'",
    "typst": '#panic("x") $x$ *b* _i_ `r` \\ @ref <label> = h',
    "jinja": "{{ 7*7 }}{% raw %}{# c #}",
    "slot": "{effect.rd|points} *strong*",
    "formula": "=cmd|' /C calc'!A0",
    "comma": 'a,b;"c"',
    "path": "../../../etc/passwd",
    "long word": "x" * 120,
    "long text": "many words in a row " * 6,
    "quotes": "\u201cit\u2019s\u201d \u2013 na\u00efve \u0141\u00f3d\u017a \u00c5land",
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


#: How many letters the study file allows in each of its texts.
LONGEST = {"title": 120, "place": 120, "prepared_by": 60, "reviewed_by": 60, "funding": 60}


def with_texts(folder, text, keys=tuple(LONGEST)):
    plan = (folder / "study.toml").read_text(encoding="utf-8")
    for key in keys:
        line = f"{key} = {json.dumps(text[: LONGEST[key]], ensure_ascii=False)}"  # a JSON string is a TOML string
        plan = re.sub(rf"(?m)^{key} = .*$", lambda _, line=line: line, plan)
    (folder / "study.toml").write_text(plan, encoding="utf-8")


PAIRS = [tuple(HOSTILE)[at : at + 2] for at in range(0, len(HOSTILE), 2)]


@pytest.mark.parametrize(
    "names", [*PAIRS[:2], *(pytest.param(names, marks=pytest.mark.slow) for names in PAIRS[2:])]
)
def test_texts_of_the_study_file_come_out_as_they_stand(few_mishaps_folder, tmp_path, capsys, names):
    """Two at a time: one as title, the other as place and name."""
    for name, keys in zip(names, (["title"], ["place", "prepared_by"]), strict=True):
        with_texts(few_mishaps_folder, HOSTILE[name], keys)
    code, told = brief(few_mishaps_folder, tmp_path / "out", capsys)
    assert code == 0, told
    page = (tmp_path / "out" / "brief.html").read_text(encoding="utf-8")
    assert "<script" not in page
    if names[0] in ("html", "jinja"):
        from bs4 import BeautifulSoup

        soup = BeautifulSoup(page, "html.parser")
        assert HOSTILE[names[0]] in soup.find("title").get_text()
        assert HOSTILE[names[1]] in soup.find(class_="signed").get_text()


def test_the_longest_texts_the_study_file_allows_are_printed(study_folder, tmp_path, capsys):
    with_texts(study_folder, HOSTILE["long text"])
    code, told = brief(study_folder, tmp_path / "out", capsys)
    assert code == 0, told


@pytest.mark.parametrize("name", UNPRINTABLE)
def test_letters_the_fonts_lack_are_printed_or_refused_in_a_sentence(
    few_mishaps_folder, tmp_path, capsys, name
):
    with_texts(few_mishaps_folder, UNPRINTABLE[name], ["place"])
    code, told = brief(few_mishaps_folder, tmp_path / "out", capsys)
    assert code in (0, 2, 3)
    assert (tmp_path / "out").exists() == (code == 0)
    if code:
        sentence = told.strip().splitlines()[-1]
        assert sentence.startswith("survstats: ")
        assert re.search(r"character|font|letter", sentence), sentence


def test_texts_of_the_records_never_break_a_table_or_a_page(study_folder, tmp_path, capsys):
    mishap, occupant = read_tables(study_folder)
    texts = [text.strip() for text in (*HOSTILE.values(), *UNPRINTABLE.values())]
    new = dict(zip(mishap["mishap_id"], texts, strict=False))
    for table in (mishap, occupant):
        table["mishap_id"] = table["mishap_id"].replace(new)
    occupant.loc[range(len(texts)), "exit_used"] = texts
    occupant.loc[range(len(texts)), "occupant_id"] = texts
    mishap["operator_code"] = mishap["operator_code"].replace({"N": texts[0]})
    write_tables(study_folder, (mishap, occupant))
    code, told = brief(study_folder, tmp_path / "out", capsys)
    assert code == 0, told
    for path in (tmp_path / "out" / "tables").glob("*.csv"):
        rows = list(csv.reader(io.StringIO(path.read_text(encoding="utf-8"), newline="")))
        assert len({len(row) for row in rows}) == 1, path.name
        assert not any(cell.startswith("=") for row in rows for cell in row), path.name


def test_hostile_codes_are_all_found_and_told(study_folder, tmp_path, capsys):
    mishap, occupant = read_tables(study_folder)
    texts = [text.strip() for text in (*HOSTILE.values(), *UNPRINTABLE.values())]
    occupant.loc[range(len(texts)), "outcome"] = texts
    write_tables(study_folder, (mishap, occupant))
    code, told = brief(study_folder, tmp_path / "out", capsys)
    assert code == 1
    assert "occupant.csv, row 2, outcome" in told
    assert not (tmp_path / "out").exists()
    findings = tmp_path / "findings.csv"
    assert run_command(["check", str(study_folder), "--out", str(findings)]) == 1
    capsys.readouterr()
    header, *rows = csv.reader(io.StringIO(findings.read_text(encoding="utf-8"), newline=""))
    found = [row[header.index("seen")] for row in rows if row[header.index("field")] == "outcome"]
    assert [text.removeprefix("'") for text in found[: len(texts)]] == [clean_text(text) for text in texts]
    assert not any(cell.startswith("=") for row in rows for cell in row)
