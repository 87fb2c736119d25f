"""The papers in reports/ are what the code makes today, number by number."""

from __future__ import annotations

import csv
import datetime
import json
import math
import re
from pathlib import Path

import pytest

import survstats as sv
from survstats.report.papers import papers

REPORTS = Path(__file__).resolve().parents[2] / "reports"
PUBLISHED = ("demo_main", "demo_null", "demo_survivor_only", "demo_separation")


@pytest.fixture(scope="module", params=PUBLISHED)
def pair(request, demo_results):
    """A published folder and what the study gives today."""
    return REPORTS / request.param, demo_results[request.param]


def test_every_published_number_is_computed_again(pair):
    folder, today = pair
    published = sv.read_results(folder)
    assert set(published.numbers) == set(today.numbers)
    for name, number in published.numbers.items():
        for part in ("value", "low", "high", "df"):
            then, now = getattr(number, part), getattr(today.numbers[name], part)
            assert (then is None) == (now is None), f"{name}.{part}"
            if then is not None:
                assert math.isclose(then, now, rel_tol=1e-6, abs_tol=1e-9), f"{name}.{part}: {then} {now}"


def test_every_published_code_text_and_row_is_found_again(pair):
    folder, today = pair
    published = sv.read_results(folder)
    for part in ("codes", "texts", "absent", "lists"):
        assert getattr(published, part) == getattr(today, part)
    assert {k: list(v) for k, v in published.rows.items()} == {k: list(v) for k, v in today.rows.items()}
    for name in ("study_file", "verdict_thresholds", "mishap_file", "occupant_file", "seed"):
        assert published.provenance[name] == today.provenance[name]


def test_the_published_pages_say_what_today_s_pages_say(pair):
    folder, today = pair
    made_at = datetime.datetime.fromisoformat(json.loads((folder / "manifest.json").read_text())["made_at"])
    fresh = papers(today, now=made_at)
    assert sorted(fresh) == sorted(str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file())
    assert words(fresh["brief.html"].decode()) == words((folder / "brief.html").read_text())
    for name in ("seen", "ledger_p1", "ledger_p2", "gates"):
        then = list(csv.reader((folder / f"tables/{name}.csv").read_text().splitlines()))
        assert then == list(csv.reader(fresh[f"tables/{name}.csv"].decode().splitlines()))


def words(page: str) -> list[str]:
    """The visible words of a page, without figures, style and policy."""
    body = re.sub(r"<style>.*?</style>|<svg.*?</svg>", " ", page, flags=re.DOTALL)
    return re.sub(r"<[^>]+>", " ", body).split()
