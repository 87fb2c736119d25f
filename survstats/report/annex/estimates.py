"""What are the estimates, each with its population, target and weighting; and what do people of one mishap say?"""

from __future__ import annotations

import math

from survstats.report.annex.content import AnnexBlock, AnnexSection, Picture
from survstats.report.annex.tables import (
    Row,
    coded,
    refused,
    run,
    said,
    section,
    table_rows,
    tabled,
    texts,
    why,
    with_interval,
)
from survstats.report.annex.unknown import drawn_training
from survstats.report.brief import hangs
from survstats.report.brief_figures import axis_of
from survstats.report.content import AxisFigure, AxisRow, Piece, RowKind, Text
from survstats.report.lettering import join
from survstats.report.wording import Wording
from survstats.study.results import StudyResults

_SCALES = (
    ("survival_all", "effect.survival_if_all_trained", "percent_with_interval"),
    ("survival_none", "effect.survival_if_none_trained", "percent_with_interval"),
    ("rd", "effect.rd", "points_with_interval"),
    ("rr_survival", "effect.rr_survival", "ratio_with_interval"),
    ("rr_death", "effect.rr_death", "ratio_with_interval"),
    ("odds_ratio", "effect.odds_ratio", "ratio_with_interval"),
    ("number_needed", "effect.number_needed", "whole_with_interval"),
)
_GAP = "_missing"
"""What the design calls the column that stands for a gap in a number."""
_KINDS: dict[str, RowKind] = {"effect.rd": "main", "crude.rd": "unadjusted"}


def estimate(results: StudyResults, words: Wording) -> AnnexSection:
    """The main estimate on every scale, all estimators on one axis, coefficients, and what few mishaps allow."""
    if "effect.rd" not in results.numbers:
        needed = texts(words, f"needed.{results.codes['brief.form']}")
        block = AnnexBlock(words.say("needed.title"), (), items=needed) if needed else None
        first = refused(words, results, "effect.rd")
        return section(words, "estimate", first, block, few(results, words), lead=None)
    return section(
        words,
        "estimate",
        _scales(results, words),
        _estimators(results, words),
        _coefficients(results, words),
        few(results, words),
    )


def _scales(results: StudyResults, words: Wording) -> AnnexBlock | None:
    rows: list[Row] = [
        (words.say(f"annex.estimate.{key}"), words.cell(name, form), words.say(f"annex.estimate.{key}_read"))
        for key, name, form in _SCALES
        if words.cell(name, form)
    ]
    items = texts(words, "annex.estimate.penalised") if penalised(results) else ()
    items += texts(words, "annex.estimate.hangs") if hangs(results) else ()
    return tabled(
        words, "estimate.scales", ("measure", "value", "reading"), rows, numbers=("value",), items=items
    )


def penalised(results: StudyResults) -> bool:
    """Whether the main estimate is a penalised one."""
    return results.codes.get("effect.likelihood") == "penalised"


def _estimators(results: StudyResults, words: Wording) -> AnnexBlock | None:
    """Every estimate of the difference: the figure, and the table that says whom it is about."""
    stored = [
        (at, str(row["id"]))
        for at, row in enumerate(table_rows(results, "estimators"))
        if row["id"] in results.numbers
    ]
    rows = [
        (
            coded(words, "annex.estimator", name.replace(".", "_")),
            _whom(results, words, at, name),
            words.cell(name, "points_with_interval"),
            _part(words, results, name, "mishaps"),
            _occupants(words, results, name),
        )
        for at, name in stored
    ]
    figure = axis([name for _, name in stored], results, words)
    return tabled(
        words,
        "estimate.all",
        ("name", "whom", "points", "mishaps", "occupants"),
        rows,
        numbers=("points", "mishaps", "occupants"),
        picture=Picture("estimators", figure) if figure else None,
        items=_roads(results, words),
    )


def _roads(results: StudyResults, words: Wording) -> tuple[Text, ...]:
    """How far the doubly robust estimate is from the main one, and whether that is more than its error."""
    told = texts(words, "annex.estimate.augmented")
    reading = texts(words, f"annex.estimate.roads_{results.codes.get('effect.roads', '')}")
    return (join(*told, *reading),) if told else ()


def _whom(results: StudyResults, words: Wording, at: int, name: str) -> tuple[Piece, ...]:
    """Population, target and weighting of an estimate, and what is done otherwise, in words."""
    row = table_rows(results, "estimators")[at]
    parts = [
        coded(words, f"annex.{part}", str(row[part]))
        for part in ("population", "target", "weighting")
        if row.get(part)
    ]
    whom = run(*(part if part is parts[-1] else (*part, Piece(",")) for part in parts))
    how = f"annex.estimator_how.{name.replace('.', '_')}"
    if name == "effect.rd_imputed" and not drawn_training(results):
        how += "_fields"
    fewer = "plan.adjusted_all_aboard"
    if name == "effect.rd_all_aboard" and results.lists.get(fewer, ()) != results.lists.get("plan.adjusted"):
        how += "_fewer" if results.lists.get(fewer) else ""
    return (*whom, Piece("; "), *words.say(how)) if words.has(how) else whom


def _occupants(words: Wording, results: StudyResults, name: str) -> Text:
    """How many people; of an imputed estimate the fewest of any draw."""
    people = _part(words, results, name, "occupants")
    if people and name == "effect.rd_imputed":
        return (*words.say("annex.estimate.at_least"), Piece(" "), *people)
    return people


def _part(words: Wording, results: StudyResults, name: str, part: str) -> tuple[Piece, ...]:
    if getattr(results.numbers[name], part) is None:
        return ()
    return (words.slot(f"{name}.{part}", "count"),)


def axis(names: list[str], results: StudyResults, words: Wording) -> AxisFigure | None:
    """F2 of the annex: the estimates of these ids on one axis of points."""
    rows = [_axis_row(name, results, words) for name in names if math.isfinite(results.numbers[name].value)]
    return axis_of(results, words, rows) if rows else None


def _axis_row(name: str, results: StudyResults, words: Wording) -> AxisRow:
    number = results.numbers[name]
    low = number.value if number.low is None else max(number.low, -1.0)
    high = number.value if number.high is None else min(number.high, 1.0)
    key = name.replace(".", "_")
    return AxisRow(
        kind=_KINDS.get(name, "other"),
        family=words.template(f"annex.family.{key}") if words.has(f"annex.family.{key}") else "other",
        name=coded(words, "annex.estimator", key),
        note=(),
        value=100 * number.value,
        low=100 * low,
        high=100 * high,
        outer_low=None,
        outer_high=None,
        shown=(words.slot(name, "points_with_interval"),),
        shown_outer=(),
    )


def _coefficients(results: StudyResults, words: Wording) -> AnnexBlock | None:
    rows = (
        (
            term(words, str(row["term"])),
            words.cell(f"coefficients.{at}.estimate", "decimal"),
            words.cell(f"coefficients.{at}.se", "decimal"),
            words.cell(f"coefficients.{at}.df", "one_decimal"),
            with_interval(words, f"coefficients.{at}", "decimal", value="estimate")[1:],
        )
        for at, row in enumerate(table_rows(results, "coefficients"))
    )
    rows = ((*row[:4], _limits(row[4])) for row in rows)
    heads = ("term", "estimate", "se", "df", "limits")
    key = "penalised" if penalised(results) else "plain"
    items = texts(words, f"annex.estimate.coefficients_{key}")
    return tabled(words, "estimate.coefficients", heads, rows, numbers=heads[1:], items=items)


def _limits(pieces: tuple[Piece, ...]) -> tuple[Piece, ...]:
    """The limits of `with_interval` without its brackets."""
    return pieces[1:-1]


def term(words: Wording, name: str) -> tuple[Piece, ...]:
    """A column of the design in words: what it measures, and the level it stands for."""
    field, _, level = name.rstrip("]").partition("[")
    if words.has(f"annex.term.{field}"):
        return words.say(f"annex.term.{field}")
    if words.has(f"annex.modifier_level.{field}.{level}"):
        return words.say(f"annex.modifier_level.{field}.{level}")
    if field.endswith(_GAP):
        return (Piece(f"{words.name(field.removesuffix(_GAP))}: "), *words.say("annex.term.gap"))
    told = level.removesuffix(".0").replace("_", " ")
    return (Piece(f"{words.name(field)}: {told}" if level else words.name(field)),)


def few(results: StudyResults, words: Wording) -> AnnexBlock | None:
    """The checks for few mishaps: the sign-flip test, and the penalised limits."""
    kind = results.codes.get("flip.kind", "enumerated")
    return said(words, "few", f"flip_{kind}", "flip_interval", "smallest", "firth")


def within(results: StudyResults, words: Wording) -> AnnexSection:
    """The comparison inside mishaps, in its own block: another quantity, with its own sentences."""
    informative = results.numbers.get("within.informative")
    if informative is None or "within.odds_ratio" not in results.numbers:
        counts = ("annex.within.counts",) if informative is not None and informative.value else ()
        reason = results.absent.get("within.odds_ratio", "")
        lead = (
            words.say("within.none") if reason == "few_mishaps" else why(words, results, "within.odds_ratio")
        )
        return section(words, "within", AnnexBlock((), lead, items=texts(words, *counts)), lead=None)
    keys = ("counts", "exact", "mid_p", "adjusted", "not_points")
    return section(
        words, "within", AnnexBlock((), (), items=texts(words, *(f"annex.within.{key}" for key in keys)))
    )


def between(results: StudyResults, words: Wording) -> AnnexSection:
    """Models in which mishaps have a level of their own, and whether they agree inside and between mishaps."""
    rows: list[Row] = [
        (words.say(f"annex.between.{key}"), words.cell(name, form), words.say(f"annex.between.{key}_read"))
        for key, name, form in (
            ("random", "random.log_odds", "decimal_with_interval"),
            ("random_points", "effect.rd_random_intercept", "points_with_interval"),
            ("spread", "random.spread", "decimal_with_interval"),
            ("population_average", "effect.rd_population_average", "points_with_interval"),
            ("inside", "random.within", "decimal_with_interval"),
            ("across", "random.between", "decimal_with_interval"),
            ("apart", "random.difference", "decimal_with_interval"),
        )
        if words.cell(name, form)
    ]
    keys = (
        f"reading_{results.codes.get('random.reading', '')}",
        f"spread_{results.codes.get('random.spread_state')}",
    )
    table = tabled(
        words,
        "between.models",
        ("model", "value", "reading"),
        rows,
        numbers=("value",),
        items=texts(words, *(f"annex.between.{key}" for key in keys)),
    )
    return section(words, "between", table or refused(words, results, "random.log_odds"))
