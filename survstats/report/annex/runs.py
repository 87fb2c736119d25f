"""What do the trainer's own runs say, and would quicker ways out alone make the difference in who gets out?"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

from survstats.report.annex.content import AnnexBlock, AnnexSection, Picture
from survstats.report.annex.tables import (
    Row,
    as_number,
    coded,
    named_list,
    refused,
    run,
    section,
    some,
    table_rows,
    tabled,
    texts,
    why,
    with_interval,
)
from survstats.report.content import Text
from survstats.report.fading_figure import BandPoint, CurvePoint, FadingFigure
from survstats.report.runs_figure import RunsFigure
from survstats.report.wording import Wording
from survstats.study.results import StudyResults

_BANDS = "since_last"
_LOST = ("lost_12", "lost_24", "lost_48")


def runs(results: StudyResults, words: Wording) -> AnnexSection:
    """Trainer runs by exercise and by months since the last course, and the race; or why there is none."""
    if "runs_model" not in results.tables:
        without = refused(words, results, "runs_model")
        return section(words, "runs", without, _race(results, words))
    return section(
        words,
        "runs",
        _counted(results, words),
        _exercises(results, words),
        _fading(results, words),
        _race(results, words),
    )


def _counted(results: StudyResults, words: Wording) -> AnnexBlock:
    keys = [
        "bounds",
        *(("left_out",) if some(results, "runs_model.left_out") else ()),
        "together",
        *(("few",) if results.codes.get("runs_model.size") == "few" else ()),
    ]
    items = texts(words, *(f"annex.runs.counted.{key}" for key in keys))
    if gone := results.lists.get("runs_model.kinds_left_out"):
        key, name = "annex.runs.counted.kinds", "runs_model.kinds_left_out"
        items = (*items, named_list(words, key, gone, name, of="annex.runs.level"))
    return AnnexBlock(
        words.say("annex.runs.counted.title"), words.say("annex.runs.counted.lead"), items=items
    )


# ---- exercises -----------------------------------------------------------------------------------


def _exercises(results: StudyResults, words: Wording) -> AnnexBlock | None:
    rows: list[Row] = [
        (
            _level(words, row, "level"),
            _level(words, row, "reference"),
            words.cell(f"runs_model.{at}.runs", "count"),
            words.cell(f"runs_model.{at}.people", "count"),
            with_interval(words, f"runs_model.{at}", "time_ratio", "ratio")
            or words.say("annex.not_estimated"),
        )
        for at, row in enumerate(table_rows(results, "runs_model"))
        if row["term"] != _BANDS
    ]
    heads = ("exercise", "against", "runs", "people", "ratio")
    items = texts(words, "annex.runs.exercises.whom")
    return tabled(words, "runs.exercises", heads, rows, numbers=heads[2:], items=items)


def _level(words: Wording, row: dict[str, object], column: str) -> Text:
    return coded(words, f"annex.runs.level.{row['term']}", str(row[column]))


# ---- fading --------------------------------------------------------------------------------------


def _fading(results: StudyResults, words: Wording) -> AnnexBlock:
    """Bands of months, the curve where a half-life can be told, and what a refresher has to bring back."""
    told = "runs_model.half_life" in results.numbers
    picture = runs_picture(results, words)
    rows: list[Row] = [
        (
            _months(words, row, at),
            words.cell(f"runs_model.{at}.runs", "count"),
            words.cell(f"runs_model.{at}.people", "count"),
            with_interval(words, f"runs_model.{at}", "time_ratio", "ratio")
            or words.say("annex.not_estimated"),
        )
        for at, row in enumerate(table_rows(results, "runs_model"))
        if row["term"] == _BANDS
    ]
    heads = ("months", "runs", "people", "ratio")
    items = _fading_items(results, words, told=told)
    table = tabled(words, "runs.fading", heads, rows, numbers=heads[1:], picture=picture, items=items)
    form = "" if told or not picture else "_limits"
    if table is None:
        return AnnexBlock(words.say("annex.runs.fading.title"), (), picture, None, items)
    return replace(table, lead=words.say(f"annex.runs.fading.lead{form}"))


def _fading_items(results: StudyResults, words: Wording, *, told: bool) -> tuple[Text, ...]:
    if "runs_fading_curve" not in results.tables:
        return (why(words, results, "runs_fading_curve"),)
    returners = f"returners_{results.codes.get('runs_model.returners')}"
    ratios = ("gain", *_LOST) if told else (*(f"{name}_limits" for name in ("gain", *_LOST)), "only_fades")
    keys = ("half_life", *ratios, "restores", "forgotten", returners, "observed", "unlike")
    first = () if told else (why(words, results, "runs_model.half_life"),)
    at_least = texts(words, "annex.runs.fading.at_least")
    return (*first, *at_least, *texts(words, *(f"annex.runs.fading.{key}" for key in keys)))


def _months(words: Wording, row: dict[str, object], at: int) -> Text:
    if row["from_months"] is None:
        return words.say("annex.runs.fading.months_unknown")
    key = "band_open" if row["to_months"] is None else "band"
    return words.say(f"annex.runs.fading.{key}", row=f"runs_model.{at}")


def runs_picture(results: StudyResults, words: Wording) -> Picture | None:
    """F11: time against beginners over the months since the last course, with bands and a rug of courses."""
    curve = tuple(
        CurvePoint(as_number(row["months"]), *(_percent(row[part]) for part in ("ratio", "low", "high")))
        for row in table_rows(results, "runs_fading_curve")
    )
    if len(curve) < 2:
        return None
    rug = tuple(
        (as_number(row["from_months"]), int(as_number(row["courses"])))
        for row in table_rows(results, "runs_fading_months")
    )
    told = "runs_model.half_life" in results.numbers
    key = "annex.runs.figure"
    figure = FadingFigure(
        curve=curve,
        bands=tuple(
            _band(words, row, at)
            for at, row in enumerate(table_rows(results, "runs_model"))
            if row["term"] == _BANDS and row["from_months"] is not None
        ),
        rug=rug,
        rug_step=min((later - earlier for (earlier, _), (later, _) in pairwise(rug)), default=1.0),
        curve_text=words.say(f"{key}.curve") if told else (),
        limits_text=words.say(f"{key}.limits{'' if told else '_alone'}"),
        bands_text=words.say(f"{key}.bands"),
        zero_text=words.say(f"{key}.zero"),
        rug_text=words.say(f"{key}.rug"),
        people_text=words.say(f"{key}.people"),
        x_title=words.say(f"{key}.x"),
        y_title=words.say(f"{key}.y"),
        alt=run(words.say(f"{key}.alt{'' if told else '_limits'}"), *texts(words, f"{key}.finding")),
    )
    return Picture("runs", RunsFigure(figure))


def _band(words: Wording, row: dict[str, object], at: int) -> BandPoint:
    ratio, low, high = (
        None if row[part] is None else _percent(row[part]) for part in ("ratio", "low", "high")
    )
    last = row["to_months"]
    return BandPoint(
        from_months=as_number(row["from_months"]),
        to_months=None if last is None else as_number(last),
        points=ratio,
        low=low,
        high=high,
        people_text=words.cell(f"runs_model.{at}.people", "count"),
    )


def _percent(cell: object) -> float:
    """Per cent more or less time than the reference, from a ratio."""
    return 100 * (as_number(cell) - 1)


# ---- the race ------------------------------------------------------------------------------------


def _race(results: StudyResults, words: Wording) -> AnnexBlock | None:
    """Times in mishaps, in the pool and of the breath side by side, and what they make of each other."""
    if "race.breath_median" not in results.numbers:
        return None
    names = ("breath", "pool", "mishap", "untrained")
    rows: list[Row] = [
        (
            words.say(f"annex.race.{name}"),
            run(*texts(words, f"annex.race.people_{name}")),
            words.cell(f"race.{name}_median", "seconds_with_interval"),
        )
        for name in names
        if f"race.{name}_median" in results.numbers
    ]
    heads = ("what", "people", "seconds")
    return tabled(
        words,
        "race",
        heads,
        rows,
        numbers=heads[1:],
        items=(*_speed(results, words), *_breath(results, words)),
    )


def _speed(results: StudyResults, words: Wording) -> tuple[Text, ...]:
    codes = results.codes
    if "race.gap_least" not in results.numbers:
        none = (words.say("annex.race.no_gap"), why(words, results, "race.gap_least"))
        gap: tuple[Text, ...] = (run(*none, *texts(words, "annex.race.observed")),)
    else:
        keys = ("gap", "observed", f"finding_{codes.get('race.finding')}")
        gap = (run(*texts(words, *(f"annex.race.{key}" for key in keys))),)
    beside = (f"pool_{codes.get('race.pool')}", "clocks", "capsize")
    return (*texts(words, *(f"annex.race.{key}" for key in beside)), *gap)


def _breath(results: StudyResults, words: Wording) -> tuple[Text, ...]:
    codes, numbers = results.codes, results.numbers

    def said(*keys: str) -> tuple[Text, ...]:
        return texts(words, *(f"annex.race.{key}" for key in keys))

    share = said("share", "share_seen", f"breath_{codes.get('race.breath')}")
    passengers = {"race.observed", "race.share_seen"} & numbers.keys()
    return (
        *((run(*share),) if "race.share" in numbers else ()),
        run(*said("anchor", f"multiplier_{codes.get('race.multiplier')}")),
        *said("contradiction", *(("no_record",) if passengers else ())),
    )
