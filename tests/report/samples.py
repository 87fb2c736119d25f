# ruff: noqa: E501
"""Invented contents of a board paper, to look at and to test with. No figure here is real."""

from __future__ import annotations

import re
from dataclasses import replace

from survstats.report.content import (
    AxisFigure,
    AxisRow,
    Block,
    BreakEvenFigure,
    BriefContent,
    GateLine,
    GateState,
    Head,
    Piece,
    Reading,
    RowKind,
    SeatArm,
    SeatsFigure,
    Section,
    Text,
    WordBox,
    WordLine,
)

NBSP = "\u00a0"


def t(marked: str) -> Text:
    """`*strong*` and `[id|shown]` as pieces."""
    pieces = []
    for part in re.findall(r"\*[^*]+\*|\[[^\]]+\]|[^*\[]+", marked):
        strong = part.startswith("*")
        part = part.strip("*") if strong else part
        found = re.fullmatch(r"\[([^|]+)\|(.*)\]", part)
        pieces.append(Piece(found[2], found[1], strong) if found else Piece(part, None, strong))
    return tuple(pieces)


def arm(label: str, name: str, alive: int, low: int, high: int) -> SeatArm:
    return SeatArm(
        label=t(label),
        alive=alive,
        low=low,
        high=high,
        alive_text=t(f"[{name}|{alive}]"),
        unit_text=t("of 100 live"),
        interval_label=t("95 % interval"),
        low_text=t(f"[{name}.low|{low}]"),
        high_text=t(f"[{name}.high|{high}]"),
    )


def seats(
    none: tuple[int, int, int], every: tuple[int, int, int], difference: str, interval: str
) -> SeatsFigure:
    return SeatsFigure(
        upper=arm("If none had been trained", "effect.survival_if_none_trained", *none),
        lower=arm("If all had been trained", "effect.survival_if_all_trained", *every),
        difference=t(f"[effect.rd|{difference}]"),
        difference_interval=t(f"([effect.rd.low|{interval}])"),
        key_full=t("lives"),
        key_half=t("in the interval"),
        key_open=t("dies"),
        note=t("A seat is a person. Its place means nothing."),
        alt=t("A hundred seats drawn twice."),
    )


def row(
    kind: RowKind,
    family: str,
    name: str,
    note: str,
    value: float | None,
    low: float,
    high: float,
    outer: tuple[float, float] | None = None,
) -> AxisRow:
    def minus(number: float) -> str:
        return f"{number:.0f}".replace("-", "\u2212")

    shown = f"{minus(low)} to {minus(high)}"
    return AxisRow(
        kind=kind,
        family=family,
        name=t(name),
        note=t(note),
        value=value,
        low=low,
        high=high,
        outer_low=outer[0] if outer else None,
        outer_high=outer[1] if outer else None,
        shown=t(f"[{name}|{shown}]" if value is None else f"[{name}|{minus(value)}] ({shown})"),
        shown_outer=t(f"({minus(outer[0])} to {minus(outer[1])})") if outer else (),
    )


def axis(rows: tuple[AxisRow, ...], worthwhile: float = 5) -> AxisFigure:
    return AxisFigure(
        rows=rows,
        worthwhile=worthwhile,
        worthwhile_text=t(f"smallest worthwhile, {worthwhile:.0f}"),
        worthwhile_low_tick=t(f"\u2212{worthwhile:.0f}"),
        worthwhile_high_tick=t(f"{worthwhile:.0f}"),
        no_difference_text=t("no difference"),
        fewer_text=t("\u2190 fewer"),
        more_text=t("points more with training \u2192"),
        alt=t("Six estimates of the difference on one axis of points."),
    )


def break_even(
    trained: int = 131,
    untrained: int = 82,
    dead: int = 138,
    known: float | None = 0.46,
    unknown: tuple[float, float] = (0.33, 0.62),
) -> BreakEvenFigure:
    even = trained / (trained + untrained)
    return BreakEvenFigure(
        survivors_trained=trained,
        survivors_untrained=untrained,
        dead=dead,
        break_even=even,
        known=known,
        unknown_low=unknown[0],
        unknown_high=unknown[1],
        break_even_text=t(f"no effect at [claim.break_even|{100 * even:.0f}{NBSP}%]"),
        known_text=t(f"known dead: [claim.known|{100 * known:.0f}{NBSP}%]") if known is not None else (),
        unknown_text=t("what the unknown dead allow"),
        above_text=t("trained lived more often"),
        below_text=t("less often"),
        x_title=t("share of the dead who had been trained"),
        y_title=t("points, trained minus never trained"),
        alt=t("The survivor headline means no effect at one share of the dead."),
    )


MAIN_ROWS = (
    row("main", "main", "Main estimate", "alive at flooding, all roles", 11, 3, 19),
    row("other", "who", "Passengers only", "no flight crew in it", 10, 1, 19),
    row("other", "who", "All aboard", "impact deaths count as deaths", 9, 1, 17),
    row("other", "how", "Penalised fit", "for thin cells", 9, 0, 18),
    row("unadjusted", "raw", "No adjustment", "176 trained, 134 never trained", 13, 4, 23),
    row(
        "worst_case",
        "worst",
        "Any possible status",
        "of the 50 unknown, no adjustment",
        None,
        -3,
        29,
        (-13, 38),
    ),
)
STATE_WORDS: dict[GateState, str] = {
    "met": "met",
    "partly_met": "partly met",
    "not_met": "not met",
    "not_assessed": "not assessed",
}


def gates(*rows: tuple[str, GateState, str]) -> tuple[GateLine, ...]:
    return tuple(
        GateLine(t(f"{index}"), t(name), state, t(STATE_WORDS[state]), t(finding))
        for index, (name, state, finding) in enumerate(rows, 1)
    )


def three_words(reached: str) -> tuple[WordLine, ...]:
    return tuple(
        WordLine(t(word), hidden, t(reading), word == reached)
        for word, hidden, reading in (
            ("supports", 0.0, "More than chance, and nothing checked explains it better."),
            ("suggests", 0.52, "More than chance, but something else may explain it."),
            ("cannot tell", 1.0, "Chance, or something else, may be all of it; it may not."),
        )
    )


NORMAL = BriefContent(
    head=Head(
        language="en",
        title=t("Board paper: did trained people survive ditchings more often?"),
        maker=t("survstats"),
        paper_name=t("board paper"),
        stamp=t("INVENTED DEMO"),
        stamp_note=t("no figure here is real"),
        edition=t("DRAFT · version 0.1 · 24 November 2026"),
        page_label=t("{page} of {total}"),
        notes=(t("for the board, not for passing on"),),
    ),
    banners=(),
    question=t("Did people trained to escape a flooded cabin survive helicopter ditchings more often?"),
    population=t(
        "[cohort.mishaps|46] ditchings on the Vesper Shelf (invented), 2004 to 2025. People alive when the aircraft "
        "flooded, after an impact that could be survived. Trained: hands-on course at most [plan.months|24] months before."
    ),
    answer=t(
        "If all had been trained, about *[effect.survival_if_all_trained|73]* *of 100* would have survived; if none, "
        "about *[effect.survival_if_none_trained|62]*. The difference is *[effect.rd|11 points]* (95\u00a0% interval "
        "*[effect.rd.low|3]* *to* *[effect.rd.high|19]*), if the listed assumptions hold."
    ),
    word=WordBox(
        label=t("The word"),
        word=t("[verdict.word|suggests]"),
        is_word=True,
        hidden=0.52,
        readings=(
            Reading(
                t("More than chance?"),
                t("[verdict.chance|Yes]"),
                t("The interval stays above 0 whichever mishap is left out."),
            ),
            Reading(
                t("Can it be read as the effect of training?"),
                t("[verdict.reading|In part]"),
                t("Held back by missing papers of the dead and unrecorded fitness."),
            ),
        ),
        meaning=t(
            "The trained survived more often than chance explains. Training may be why, or something else."
        ),
    ),
    seats=seats((62, 55, 69), (73, 67, 79), "11 points", "3 to 19"),
    blocks=(
        Block(
            t("What we saw"),
            t(
                "*[crude.trained|131 of 176]* trained survived, *[crude.untrained|82 of 134]* never trained survived."
            ),
            (
                t(
                    "[cohort.analysed|388] were alive when the aircraft flooded; 241 survived. Passengers only, the "
                    "difference is 10\u00a0points (1\u00a0to\u00a019); all aboard, 9\u00a0(1\u00a0to\u00a017). In the same mishap, the trained "
                    "did better in 17\u00a0of\u00a024."
                ),
            ),
        ),
        Block(
            t("What we cannot see"),
            t("*[unknown.dead|41 of 147]* dead: training unknown."),
            (
                t(
                    "Any possible status puts the difference between \u22123 and 29\u00a0points (interval \u221213\u00a0to\u00a038). “62\u00a0% "
                    "of survivors had been trained” equals no effect if 62\u00a0% of the dead had been too; of the known "
                    "dead it is 46\u00a0%."
                ),
            ),
        ),
        Block(
            t("What would change our mind"),
            t("If *27 of those 41* had been trained, this is no longer more than chance."),
            (
                t(
                    "If 36 had been, no difference is left. About 30 more ditchings with full papers could settle it."
                ),
            ),
        ),
        Block(
            t("What to record next"),
            t("Training papers of *everyone aboard*, the dead first."),
            (t("Seat, exit used, exit blocked. Time out, and who says so. Ditchings in which all lived."),),
        ),
    ),
    foot=(
        t(
            "*Caution:* a decision aid, not a safety case. It does not replace regulation, the operator’s approved "
            "procedures, or licensed and qualified medical, training and airworthiness advice. No one should be flown "
            "or excluded from it. Live egress training carries its own risk and belongs to qualified providers."
        ),
    ),
    steady=Section(
        t("How steady are the [effect.rd|11] points?"),
        t(
            "All estimates lie above 0; one interval touches it. The last row shows what missing papers could do."
        ),
        (),
    ),
    axis=axis(MAIN_ROWS),
    headline=Section(
        t("Why the survivor headline is not used"),
        t("“62\u00a0% of survivors had been trained” says nothing until the dead are known."),
        (),
    ),
    break_even=break_even(),
    assumptions=Section(
        t("What the answer assumes"),
        t("The difference is the effect of training only if these hold:"),
        (
            t(
                "Within role, year, sea and impact, trained and untrained people were alike in what matters for getting out."
            ),
            t("Papers are missing for reasons that have nothing to do with who lived."),
            t("One person’s training did not change another’s escape."),
            t("“Trained” means much the same in every operator’s papers."),
            t(
                "Within the same mishap the odds of the trained were *2.1* times those of the others (1.1 to 4.0), in 24 of 46 mishaps."
            ),
        ),
    ),
    gates_title=t("The eight gates behind the word"),
    gates=gates(
        ("Seen", "partly_met", "papers for 106 of 147 dead, 232 of 241 survivors"),
        ("Enough", "met", "46 mishaps; 134 people or more in each group"),
        ("Beyond chance", "met", "above 0, also with any one mishap left out"),
        ("Unknown status", "partly_met", "the estimate keeps its sign, the interval does not"),
        ("Wrong entries", "not_assessed", "rests on counts that are withheld"),
        ("Other explanations", "not_met", "a fitness factor of 2.2 explains all; 2.1 is thought possible"),
        (
            "Comparable people",
            "partly_met",
            "68\u00a0% have a counterpart in the other group; 80\u00a0% asked",
        ),
        ("Our own choices", "met", "23 of 24 listed choices give the same sign"),
    ),
    gate_key=tuple((state, t(word)) for state, word in STATE_WORDS.items()),
    gates_foot=t(
        "Were [threshold.lower_floor|1.6] thought possible in gate [gate.number|6], the word would be “suggests”."
    ),
    words_title=t("How to read the three words"),
    words=three_words("suggests"),
    decision_title=t("Decision taken, and why"),
    prepared_by=t("Prepared by"),
    reviewed_by=t("Reviewed by"),
    provenance=(
        t(
            "Study file 7c1e 90ab; thresholds 3f52 d8e4. 388 of 431 aboard are analysed; the 28 lapsed stand in "
            "neither group. This is plan number 1 on these records. Data of each figure: CSV beside this file."
        ),
    ),
)

HARM = replace(
    NORMAL,
    answer=t(
        "If all had been trained, about *58 of 100* would have survived; if none, about *71*. The difference is "
        "*\u221213 points* (95\u00a0% interval *\u221222 to \u22124*), if the listed assumptions hold."
    ),
    word=replace(
        NORMAL.word,
        word=t("no worthwhile difference"),
        hidden=0.0,
        meaning=t(
            "What is recorded is consistent with training lowering survival, as far as it lets one see. Find out why "
            "before anything is cut or added. *Borderline:* with other random draws the word could be another."
        ),
    ),
    words=three_words("supports"),
    seats=seats((71, 66, 76), (58, 50, 66), "\u221213 points", "\u221222 to \u22124"),
    axis=axis(
        tuple(
            replace(
                item,
                value=None if item.value is None else item.value - 24,
                low=item.low - 24,
                high=item.high - 24,
            )
            for item in MAIN_ROWS[:5]
        )
    ),
)

WITHHELD = replace(
    NORMAL,
    word=replace(
        NORMAL.word,
        word=t("Withheld with the counts it rests on"),
        is_word=False,
        hidden=1.0,
        meaning=(),
    ),
    gates_foot=(),
    words=three_words(""),
    seats=seats((64, 31, 88), (66, 40, 86), "2 points", "\u221221 to 25"),
)

NO_MODEL = replace(
    NORMAL,
    answer=t(
        "These records do not carry an estimate: *4 mishaps* have people of both kinds, and *8* are needed."
    ),
    word=replace(
        NORMAL.word,
        word=t("cannot tell"),
        hidden=1.0,
        meaning=t("The question stays open. Nothing here shows training to help, to harm, or to be useless."),
    ),
    words=three_words("cannot tell"),
    gates_foot=(),
    seats=None,
    axis=None,
    steady=Section(t("How steady is the answer?"), t("There is no estimate to test."), ()),
)

SURVIVOR_ONLY = replace(
    NO_MODEL,
    banners=(
        t(
            "*Survivors only.* The training of the dead was not recorded, so no comparison can be made from these records."
        ),
    ),
    axis=axis((row("worst_case", "worst", "Any possible status", "of the 44 dead", None, -39, 72),)),
    break_even=break_even(69, 17, 44, None, (0.0, 1.0)),
)

LONG = replace(
    NORMAL,
    head=replace(
        NORMAL.head,
        stamp=(),
        stamp_note=(),
        notes=(
            *NORMAL.head.notes,
            t(
                "*Accepted against the rules:* Wave height and sea state disagree ([accepted.0.findings|3 findings]): "
                "“the heights were computed years later for the nearest point of the grid, the codes were seen by "
                "those who flew, and nobody can say any more which of the two is nearer to what it was”."
            ),
        ),
    ),
    population=t(
        "[cohort.mishaps|46] ditchings, Llanfairpwllgwyngyllgogerychwyrndrobwllllantysiliogogogoch & Żółć <Offshore>, Ελλάδα, "
        "Сахалин, 2004 to 2025. People alive when the aircraft flooded, after an impact that could be survived. Trained: "
        "hands-on course at most [plan.months|24] months before the flight."
    ),
    banners=(
        t(
            "*Many papers are missing.* For more than a third of the dead nobody knows whether they had been trained."
        ),
    ),
    axis=axis(
        (
            *MAIN_ROWS[:3],
            row(
                "other",
                "who",
                "Passengers of the operator with the longest name of all",
                "a note that says much more than there is room for in one line",
                9,
                1,
                17,
            ),
            *MAIN_ROWS[3:],
        )
    ),
)

SAMPLES = {
    "normal": NORMAL,
    "harm": HARM,
    "withheld": WITHHELD,
    "no_model": NO_MODEL,
    "survivor_only": SURVIVOR_ONLY,
    "long": LONG,
}
