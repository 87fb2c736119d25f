"""Invented contents of the paper about the records, to look at and to test with. No figure here is real."""

from __future__ import annotations

from dataclasses import replace

from samples import NORMAL, t

from survstats.report.content import Block, Section, Text
from survstats.report.records_content import GapRow, GapsFigure, RecordsContent, TableSection


def gap(
    name: str,
    died: tuple[int, int] | None,
    survived: tuple[int, int] | None,
    *,
    field: str = "training_papers",
) -> GapRow:
    return GapRow(
        name=t(name),
        died=died,
        survived=survived,
        died_text=t(f"[gaps.{field}.known_died|{died[0]}] of [gaps.died|{died[1]}] dead") if died else (),
        survived_text=t(
            f"[gaps.{field}.known_survived|{survived[0]}] of [gaps.survived|{survived[1]}] living"
        )
        if survived
        else (),
    )


def gaps(*rows: GapRow) -> GapsFigure:
    return GapsFigure(
        rows, t("known"), t("not known: empty, or “unknown”"), t("What is known, field by field.")
    )


def table(
    title: str, heads: list[str], rows: list[list[str]], *, numbers: tuple[int, ...] = ()
) -> TableSection:
    cells: tuple[tuple[Text, ...], ...] = tuple(
        tuple(t(cell) if cell else () for cell in row) for row in rows
    )
    return TableSection(
        title=t(title),
        lead=t("What each line means."),
        heads=tuple(t(head) for head in heads),
        right=tuple(at in numbers for at in range(len(heads))),
        rows=cells,
    )


WHOLE = RecordsContent(
    head=replace(
        NORMAL.head,
        title=t("What the records hold: an invented study"),
        paper_name=t("records paper"),
        notes=(
            *NORMAL.head.notes,
            t(
                "*Accepted against the rules:* Wave height and sea state disagree ([accepted.0.findings|3 findings])."
            ),
        ),
    ),
    banners=(t("Only survivors' training was recorded."),),
    question=t("What do these records hold, and what do they leave out?"),
    read=t("[records.mishaps|63 mishaps] and [records.occupants|520 people] were read."),
    answer=t(
        "Everything the comparison needs is known for *[gaps.complete_died|52]* dead and "
        "*[gaps.complete_survived|168]* living."
    ),
    known=Section(
        t("What is known"), t("Hatched is what cannot be seen."), (t("The comparison needs role."),)
    ),
    gaps=gaps(
        gap("Papers of the training", (12, 39), (88, 92)),
        gap("Alive when the aircraft flooded, as far as anybody could say", (0, 39), (92, 92)),
        gap("Cause of death", (30, 39), None),
        gap("Light", (39, 39), (92, 92)),
    ),
    together=table(
        "Missing together",
        ["not known", "dead", "living"],
        [["seat", "[m.0.died|3]", "[m.0.survived|9]"]],
        numbers=(1, 2),
    ),
    ledger=table(
        "Who is counted",
        ["step", "people", "mishaps"],
        [["aboard", "[l.0.o|131]", "[l.0.m|18]"], ["compared", "[l.1.o|57]", "[l.1.m|17]"]],
        numbers=(1, 2),
    ),
    findings=table(
        "What the checks found",
        ["rule", "weight", "what it is about", "how often", "what to do"],
        [
            [
                "[f.0.rule|R3]",
                "warning",
                "Fewer people in the records than were aboard",
                "[f.0.findings|4]",
                "add them",
            ],
            ["[f.1.rule|R45]", "statement", "Mishaps with a single person", "[f.1.findings|2]", ""],
        ],
        numbers=(3,),
    ),
    blocks=(
        Block(
            t("Times"),
            t("A time stands for *[times.given|230 people]*."),
            (t("[times.points|150] are single."),),
        ),
        Block(t("Two coders"), t("No mishap was coded by a second person."), ()),
    ),
    pool=Block(
        t("The trainer's own runs"), t("[runs.passed|360] of [runs.runs|410 trainer runs] passed."), ()
    ),
    runs=table(
        "Runs by exercise",
        ["cabin", "exit across", "light", "runs", "people", "passed", "seconds"],
        [["inverted", "no", "dark", "[r.0.runs|100]", "[r.0.people|80]", "[r.0.passed|85]", "[r.0.time|12]"]],
        numbers=(3, 4, 5, 6),
    ),
    foot=(t("*Caution:* these are counts of what was written down."),),
    provenance=(t("Records 4b52 2976."), t("No run log was kept.")),
)

BARE = replace(
    WHOLE,
    head=replace(WHOLE.head, stamp=(), stamp_note=(), notes=()),
    banners=(),
    gaps=None,
    together=None,
    findings=TableSection(t("What the checks found"), t("No rule applied."), (), (), ()),
    blocks=WHOLE.blocks[:1],
    pool=None,
    runs=None,
)

LONG_TEXTS = replace(
    WHOLE,
    read=t(
        "[records.mishaps|63 mishaps], Llanfairpwllgwyngyllgogerychwyrndrobwllllantysiliogogogoch <Offshore>."
    ),
    gaps=gaps(
        *(
            gap(f"Field {letter} " + "with a long name " * 3, (3, 1234), (9999, 12345))
            for letter in "abcdefghijkl"
        )
    ),
)

RECORDS = {"records": WHOLE, "records_bare": BARE, "records_long": LONG_TEXTS}
