"""Does too little data still give a whole paper of two pages, and never a refusal?"""

from __future__ import annotations

import re

import pytest
from thin import THIN, thin_study

from survstats.cli.program import run_command
from survstats.report.publish import count_pages


@pytest.mark.parametrize("name", THIN)
def test_thin_data_gives_a_whole_paper(tmp_path, capsys, name):
    study, out = thin_study(name, tmp_path / "study"), tmp_path / "out"
    code = run_command(["brief", str(study), "--out", str(out)])
    told = capsys.readouterr()
    assert code == 0, told.err
    assert "survstats:" not in told.err
    assert count_pages((out / "brief.pdf").read_bytes()) == 2
    page = re.sub(r"<[^>]+>", "", (out / "brief.html").read_text(encoding="utf-8").partition("<body>")[2])
    for part in (
        "What we saw",
        "What we cannot see",
        "What would change our mind",
        "What to record next",
        "The eight gates",
        "Caution",
    ):
        assert part in page
    assert "The question stays open" in page
    assert not re.search(r"\b(nan|inf|None|not_estimated)\b", page)
    assert (out / "tables" / "numbers.csv").is_file()
