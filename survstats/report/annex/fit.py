"""How well does the model fit, and what does a single mishap do?"""

from __future__ import annotations

from survstats.report.annex.content import AnnexBlock, AnnexSection
from survstats.report.annex.doubt_figures import one_out_picture
from survstats.report.annex.figures import calibration_picture
from survstats.report.annex.tables import Row, refused, section, table_rows, tabled, texts, with_interval
from survstats.report.content import Piece
from survstats.report.wording import Wording
from survstats.study.results import StudyResults

_SHOWN = 5
"""Mishaps in the table of influence; the file beside the paper holds all."""


def fit(results: StudyResults, words: Wording) -> AnnexSection:
    """Predicted against observed, each person predicted without their own mishap; columns, slope and level."""
    rows: list[Row] = [
        (
            words.say("annex.fit.from_to", row=f"calibration.{at}"),
            words.cell(f"calibration.{at}.occupants", "count"),
            words.cell(f"calibration.{at}.predicted", "whole_percent"),
            with_interval(words, f"calibration.{at}", "whole_percent", value="survived_share"),
        )
        for at in range(len(table_rows(results, "calibration")))
        if words.can_say("annex.fit.from_to", row=f"calibration.{at}")
    ]
    heads = ("risk", "occupants", "predicted", "survived")
    reading = f"reads_{results.codes.get('adequacy.calibration')}"
    between = words.can_say("annex.fit.overlap_between")
    keys = ("slope", reading, "level", "columns", "leverage", "overlap_between" if between else "overlap")
    items = texts(words, *(f"annex.fit.{key}" for key in keys))
    table = tabled(
        words,
        "fit.calibration",
        heads,
        rows,
        numbers=heads,
        picture=calibration_picture(results, words),
        items=items,
    )
    if table is None and "adequacy.calibration_slope" in results.numbers:  # passed on without its table
        return section(words, "fit", AnnexBlock((), (), items=items))
    return section(words, "fit", table or refused(words, results, "adequacy.calibration_slope", items))


def one_out(results: StudyResults, words: Wording) -> AnnexSection:
    """The estimate with each mishap left out, those first that move it most."""
    if "effect.rd_without_one" not in results.numbers:
        return section(words, "one_out", refused(words, results, "effect.rd"), lead=None)
    without = {row.get("mishap"): at for at, row in enumerate(table_rows(results, "one_mishap_out"))}
    rows: list[Row] = [
        (
            (Piece(str(row["mishap"])),),
            words.cell(f"influence.{at}.occupants", "count"),
            words.cell(f"influence.{at}.leverage", "decimal"),
            words.cell(f"influence.{at}.change", "points_tenth"),
            with_interval(words, f"one_mishap_out.{without[row['mishap']]}", "points_bare")
            if row["mishap"] in without
            else (),
        )
        for at, row in enumerate(table_rows(results, "influence")[:_SHOWN])
    ]
    heads = ("mishap", "occupants", "leverage", "change", "without")
    items = texts(words, "annex.one_out.nearest")
    picture = one_out_picture(results, words)
    table = tabled(words, "one_out.most", heads, rows, numbers=heads[1:], picture=picture, items=items)
    return section(words, "one_out", table or AnnexBlock((), (), picture, items=items))
