"""If one stored number changes, do exactly its own words change on the paper?"""

from __future__ import annotations

import datetime
from dataclasses import fields, is_dataclass, replace
from functools import cache

import pytest

from survstats.report.brief import brief_content
from survstats.report.content import Piece
from survstats.study.results import Number, StudyResults

DATE = datetime.date(2026, 11, 24)
STUDIES = ("demo_main", "demo_small", "demo_null", "demo_survivor_only")


def pieces(part):
    if isinstance(part, Piece):
        yield part
    elif isinstance(part, tuple):
        for inner in part:
            yield from pieces(inner)
    elif is_dataclass(part):
        for field in fields(part):
            yield from pieces(getattr(part, field.name))


def words(results: StudyResults) -> list[Piece]:
    return list(pieces(brief_content(results, date=DATE)))


def moved(value: float | None, unit: str) -> float | None:
    if value is None:
        return None
    if unit in ("share", "difference"):
        return value - 0.37 if value > 0.3 else value + 0.37
    return value + 1234 if unit in ("count", "year", "months") else 3 * value + 5


def nought(number: Number) -> bool:
    """A count of nobody: another sentence stands in its place, which is no change of a number."""
    return number.unit == "count" and number.value == 0


def changed(number: Number) -> Number:
    level = None if number.level is None else 0.8
    parts = {name: moved(getattr(number, name), number.unit) for name in ("value", "low", "high")}
    counts = {name: moved(getattr(number, name), "count") for name in ("mishaps", "occupants")}
    return replace(number, level=level, df=moved(number.df, "df"), **parts, **counts)


@pytest.fixture(scope="module")
def filled(demo_results):
    """The demo studies with every optional text and list filled, so that each has its place on the paper."""

    @cache
    def fill(name: str) -> StudyResults:
        results = demo_results[name]
        texts = {key: value or f"some {key}" for key, value in results.texts.items()}
        lists = {key: value or ["role"] for key, value in results.lists.items()}
        return replace(results, texts=texts, lists={**lists, "records.warnings": []})

    return fill


def demand_only(before: list[Piece], after: list[Piece], name: str) -> None:
    assert len(before) == len(after)
    differing = {old.id for old, new in zip(before, after, strict=True) if old.text != new.text}
    assert differing == {name}
    still = [
        old.text for old, new in zip(before, after, strict=True) if old.id == name and old.text == new.text
    ]
    assert still == []


def quoted(results: StudyResults) -> set[str]:
    return {piece.id for piece in words(results) if piece.id}


@pytest.mark.parametrize("study", STUDIES)
def test_each_number_changes_its_own_words_and_no_other(filled, study):
    results = filled(study)
    before = words(results)
    names = quoted(results) & set(results.numbers)
    assert len(names) > (40 if study != "demo_survivor_only" else 25)
    for name in sorted(names):
        after = words(replace(results, numbers={**results.numbers, name: changed(results.numbers[name])}))
        demand_only(before, after, name)


@pytest.mark.parametrize("study", STUDIES)
def test_each_number_that_is_not_quoted_changes_nothing(filled, study):
    results = filled(study)
    before = words(results)
    rest = {
        name: changed(number)
        for name, number in results.numbers.items()
        if name not in quoted(results) and not nought(number)
    }
    assert words(replace(results, numbers={**results.numbers, **rest})) == before


@pytest.mark.parametrize("study", STUDIES)
def test_each_limit_alone_changes_nothing_but_its_number(filled, study):
    results = filled(study)
    before = words(results)
    for name, number in results.numbers.items():
        for part in ("value", "low", "high"):
            if getattr(number, part) is None or nought(number):
                continue
            one = replace(number, **{part: moved(getattr(number, part), number.unit)})
            after = words(replace(results, numbers={**results.numbers, name: one}))
            differing = {old.id for old, new in zip(before, after, strict=True) if old.text != new.text}
            assert differing <= {name}


def test_each_text_and_list_changes_its_own_words(filled):
    results = filled("demo_main")
    before, names = words(results), quoted(results)
    texts = [name for name in results.texts if name in names]
    assert set(texts) == {
        "study.place",
        "study.prepared_by",
        "study.reviewed_by",
        "study.funding",
        "study.title",
    }
    for name in texts:
        demand_only(before, words(replace(results, texts={**results.texts, name: "other words"})), name)
    lists = [name for name in results.lists if name in names]
    assert "plan.groups_left_out" in lists
    for name in lists:
        demand_only(before, words(replace(results, lists={**results.lists, name: ["sex", "age"]})), name)
    for name in results.provenance:
        if f"provenance.{name}" in names:
            other = {**results.provenance, name: "fedcba9876543210"}
            demand_only(before, words(replace(results, provenance=other)), f"provenance.{name}")


def test_every_id_on_the_paper_is_stored(filled):
    for study in STUDIES:
        results = filled(study)
        known = {*results.numbers, *results.texts, *results.lists, "paper.date"}
        known |= {f"provenance.{name}" for name in results.provenance}
        assert quoted(results) <= known


def test_drawings_follow_their_numbers(filled):
    results = filled("demo_main")
    one = replace(results.numbers["effect.survival_if_all_trained"], value=0.914, low=0.8, high=0.96)
    content = brief_content(
        replace(results, numbers={**results.numbers, "effect.survival_if_all_trained": one}), date=DATE
    )
    assert (content.seats.lower.alive, content.seats.lower.low, content.seats.lower.high) == (91, 80, 96)
    before = brief_content(results, date=DATE)
    assert content.seats.upper == before.seats.upper
    row = replace(results.numbers["effect.rd"], value=0.2, low=-0.1, high=0.5)
    content = brief_content(replace(results, numbers={**results.numbers, "effect.rd": row}), date=DATE)
    assert (content.axis.rows[0].value, content.axis.rows[0].low, content.axis.rows[0].high) == (20, -10, 50)
    assert content.axis.rows[1:] == before.axis.rows[1:]
