"""Who got out of the cabin and how soon, where the difference in survival lies, and at what rate people got out?"""

from __future__ import annotations

from dataclasses import replace

from survstats.report.annex.content import AnnexBlock, AnnexSection
from survstats.report.annex.figures import out_picture
from survstats.report.annex.tables import (
    Row,
    refused,
    section,
    some,
    table_rows,
    tabled,
    texts,
    why,
    with_interval,
)
from survstats.report.content import Piece, Text
from survstats.report.wording import Wording
from survstats.study.results import StudyResults

_AT = {"rd_20": 20.0, "rd_60": 60.0}
"""By which second each difference is told."""


def getting_out(results: StudyResults, words: Wording) -> AnnexSection:
    """Getting out by the second, or the one reason why nothing can be told of it."""
    who = _people(results, words)
    if who is None:
        return section(words, "getting_out", refused(words, results, "egress_people"))
    return section(
        words,
        "getting_out",
        who,
        _curve(results, words),
        _differences(results, words),
        _time(results, words),
        _models(results, words),
        _split(results, words),
        _rates(results, words),
    )


def _arm(words: Wording, row: dict[str, object]) -> Text:
    return words.say(f"annex.getting_out.arm.{row['arm']}")


def _people(results: StudyResults, words: Wording) -> AnnexBlock | None:
    heads = ("occupants", "out", "inside", "not_known", "points", "bands", "time_unknown")
    rows: list[Row] = [
        (_arm(words, row), *(words.cell(f"egress_people.{at}.{head}", "count") for head in heads))
        for at, row in enumerate(table_rows(results, "egress_people"))
    ]
    items = texts(words, "annex.getting_out.people.others", "annex.getting_out.people.fate")
    return tabled(words, "getting_out.people", ("arm", *heads), rows, numbers=heads, items=items)


def _curve(results: StudyResults, words: Wording) -> AnnexBlock:
    """F4 with the people behind it at set seconds."""
    heads = ("known_out", "cannot_tell", "known_inside")
    rows: list[Row] = [
        (
            _arm(words, row),
            words.cell(f"egress_at.{at}.time_s", "seconds"),
            *(words.cell(f"egress_at.{at}.{head}", "count") for head in heads),
        )
        for at, row in enumerate(table_rows(results, "egress_at"))
    ]
    picture = out_picture(results, words)
    drawn = ("limits", *_taken(results), "naive") if picture else ()
    items = texts(words, *(f"annex.getting_out.curve.{key}" for key in drawn))
    numbers = ("time", *heads)
    table = tabled(
        words, "getting_out.curve", ("arm", *numbers), rows, numbers=numbers, picture=picture, items=items
    )
    if table is None:
        return _without(words, results, "getting_out.curve", "egress_curve")
    lead = words.say("annex.getting_out.curve.lead" if picture else "annex.getting_out.curve.lead_table")
    reason = () if picture else (why(words, results, "egress_curve"),)
    return replace(table, lead=lead, items=(*reason, *items))


def _taken(results: StudyResults) -> tuple[str, ...]:
    """What is taken for granted of people out at no recorded second; nothing where there are none."""
    arms = table_rows(results, "egress_people")[:2]  # the two groups compared
    untimed = ("untimed",) if any(row.get("time_unknown") for row in arms) else ()
    return (*untimed, *(("rescued",) if some(results, "egress.rescued_inside") else ()))


def _without(words: Wording, results: StudyResults, key: str, name: str) -> AnnexBlock:
    """The heading of a part, and why it is empty."""
    return AnnexBlock(words.say(f"annex.{key}.title"), why(words, results, name))


# ---- how far the groups differ -------------------------------------------------------------------


def _differences(results: StudyResults, words: Wording) -> AnnexBlock:
    """Share out in the end and by set seconds: likeliest from the spans, at its widest, and by the model."""
    rows: list[Row] = []
    if "egress.rd_out" in results.numbers:
        shown = words.cell("egress.rd_out", "points_with_interval")
        rows.append((words.say("annex.getting_out.by.ever"), (), (), (), shown))
    for name, second in _AT.items():
        rows += _difference(results, words, name, row=_row_of(results, second), form="points_bare")
    last = _row_of(results, _AT["rd_60"])
    rows += _difference(results, words, "seconds", row=last, form="seconds_bare")
    heads = ("what", "alone", "reach", "widest", "model")
    likeliest = any(f"egress.{name}_least" in results.numbers for name in (*_AT, "seconds"))
    taken = (f"annex.getting_out.curve.{key}" for key in _taken(results) if likeliest and key == "untimed")
    items = (*texts(words, *taken, "annex.getting_out.by.shares"), *_missing(results, words))
    table = tabled(words, "getting_out.by", heads, rows, numbers=heads[1:], items=items)
    return table or _without(words, results, "getting_out.by", "egress.rd_out")


def _row_of(results: StudyResults, second: float) -> str:
    """The first row of ``egress_at`` that holds this second."""
    there = (at for at, row in enumerate(table_rows(results, "egress_at")) if row["time_s"] == second)
    return f"egress_at.{next(there, 'none')}"


def _difference(results: StudyResults, words: Wording, name: str, *, row: str, form: str) -> list[Row]:
    """One row: least to most with limits of both, whatever the missing times were, and the model's."""
    least, most = f"egress.{name}_least", f"egress.{name}_most"
    told = f"annex.getting_out.by.{name}"
    alone: Text = ()
    if least in results.numbers:
        alone = (words.slot(most, form),)
        if results.codes.get(f"egress.{name}_form") != "point":
            alone = (words.slot(least, form), Piece("\u00a0to\u00a0"), *alone)
    reach, widest = (
        words.say(key) if words.can_say(key) else () for key in (f"{told}_limits", f"{told}_widest")
    )
    model = words.cell(f"egress.{name}_model", "points_with_interval")
    if not any((alone, widest, model)) or not words.can_say(told, row=row):
        return []
    return [(words.say(told, row=row), alone, reach, widest, model)]


def _missing(results: StudyResults, words: Wording) -> tuple[Text, ...]:
    """Why the model's column, or the likeliest one, is empty."""
    parts = {"egress.rd_out": "ever", "egress.rd_20_least": "alone", "egress.rd_20_model": "model"}
    told = []
    for name, key in parts.items():
        if name in results.absent:
            head = words.say(f"annex.getting_out.by.no_{key}")
            told.append((*head, Piece(" "), *why(words, results, name)))
    return tuple(told)


# ---- the time of those who got out ---------------------------------------------------------------


def _time(results: StudyResults, words: Wording) -> AnnexBlock:
    """How long those who got out needed, as a ratio, and whether the model keeps to the records."""
    key = "annex.getting_out.time"
    if "egress.time_ratio" not in results.numbers:
        return _without(words, results, "getting_out.time", "egress.time_ratio")
    fit = f"fit_{results.codes.get('egress.fit', 'not_judged')}"
    whose = {"died": "egress.died_out", "washed": "egress.washed_out"}
    told = (name for name, people in whose.items() if some(results, people))
    items = texts(words, *(f"{key}.{name}" for name in ("ratio", "reading", *told, "median", "beside", fit)))
    return AnnexBlock(words.say(f"{key}.title"), words.say(f"{key}.lead"), items=items)


def _models(results: StudyResults, words: Wording) -> AnnexBlock | None:
    """The ratio again under each shape of the times."""
    rows: list[Row] = [
        (
            words.say(f"annex.getting_out.distribution.{row['distribution']}"),
            with_interval(words, f"egress_models.{at}", "time_ratio", "time_ratio")
            or words.say("annex.not_estimated"),
            words.cell(f"egress_models.{at}.log_likelihood", "one_decimal"),
            words.cell(f"egress_models.{at}.scale", "decimal"),
        )
        for at, row in enumerate(table_rows(results, "egress_models"))
    ]
    heads = ("distribution", "ratio", "log_likelihood", "scale")
    names = (name.partition(".")[2] for name in results.absent if name.startswith("egress_models."))
    without = tuple(
        (
            *words.say(f"annex.getting_out.distribution.{name}"),
            Piece(": "),
            *why(words, results, f"egress_models.{name}"),
        )
        for name in names
    )
    return tabled(words, "getting_out.models", heads, rows, numbers=heads[1:], items=without)


# ---- the account in two stages, and the rate ------------------------------------------------------


def _split(results: StudyResults, words: Wording) -> AnnexBlock:
    """What of the difference in survival lies in getting out, and what in what came after."""
    stages = {"out": "getting_out", "after": "afterwards"}
    if "split.rd" not in results.numbers:
        return _without(words, results, "split", "split.rd")
    rows: list[Row] = [
        (
            words.say(f"annex.split.{stage}"),
            *(
                words.cell(f"split.{stage}_{arm}", "percent_with_interval")
                for arm in ("trained", "untrained")
            ),
            words.cell(f"split.{part}", "points_with_interval"),
        )
        for stage, part in stages.items()
    ]
    rows.append((words.say("annex.split.both"), (), (), words.cell("split.rd", "points_with_interval")))
    heads = ("stage", "trained", "untrained", "difference")
    items = texts(words, "annex.split.account", "annex.split.sum")
    table = tabled(words, "split", heads, rows, numbers=heads[1:], items=items)
    return table or _without(words, results, "split", "split.rd")


def _rates(results: StudyResults, words: Wording) -> AnnexBlock:
    """The ratio of the rates of getting out among those not yet out, and whether it stays the same."""
    rows: list[Row] = [
        (
            words.say(f"annex.rates.{name}"),
            words.cell(f"rates.{name}", "ratio_with_interval") or words.say("annex.not_estimated"),
        )
        for name in ("all", "within")
    ]
    if not any(f"rates.{name}" in results.numbers for name in ("all", "within")):
        return _without(words, results, "rates", "rates.all")
    steady = f"proportional_{results.codes.get('rates.proportional', 'not_checked')}"
    reasons = tuple(
        (*words.say(f"annex.rates.{name}"), Piece(": "), *why(words, results, f"rates.{name}"))
        for name in ("all", "within")
        if f"rates.{name}" in results.absent
    )
    items = (*reasons, *texts(words, *(f"annex.rates.{key}" for key in (steady, "draws", "reading"))))
    heads = ("which", "ratio")
    table = tabled(words, "rates", heads, rows, numbers=("ratio",), items=items)
    return table or _without(words, results, "rates", "rates.all")
