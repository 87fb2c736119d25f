"""What can a survivor headline carry, on one page, and which question goes back to whoever made it?"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from survstats import __version__
from survstats.report.content import Block, BreakEvenFigure, Head, Text
from survstats.report.lettering import join
from survstats.report.wording import Facts, Wording
from survstats.study.results import Number

GENERATOR = "survstats claim"
"""What a page says of itself, so that a later one may take its place."""
_DOCTYPE = b"<!doctype html>"
_FIRST_BYTES = 600


@dataclass(frozen=True)
class Letter:
    """What to ask whoever made the headline: an opening, numbered questions, a close."""

    title: Text
    lead: Text
    opening: Text
    questions: tuple[Text, ...]
    close: Text


@dataclass(frozen=True)
class ClaimContent:
    """One page on a survivor headline.

    Attributes
    ----------
    told : Text
        The headline as it was typed.
    answer : Text
        What it carries, in a sentence.
    figure : BreakEvenFigure or None
        None where the share told leaves one group empty.
    caption : Text
        How to read the figure, or why there is none.
    blocks : tuple of Block
    letter : Letter
    """

    head: Head
    question: Text
    told: Text
    answer: Text
    figure: BreakEvenFigure | None
    caption: Text
    blocks: tuple[Block, ...]
    letter: Letter
    foot: tuple[Text, ...]
    generator: str = GENERATOR


def claim_paper(
    numbers: Mapping[str, Number], sentences: Sequence[str], *, today: datetime.date | None = None
) -> str:
    """The page as one HTML file.

    Parameters
    ----------
    numbers, sentences
        Of `survstats.weigh_headline`.
    today : date, optional
        The day printed on it; today if not given.
    """
    from survstats.report.publish import render_html

    return render_html(claim_content(numbers, sentences, date=today or datetime.date.today()))


def claim_content(
    numbers: Mapping[str, Number], sentences: Sequence[str], *, date: datetime.date
) -> ClaimContent:
    """What the page says.

    Parameters
    ----------
    numbers, sentences
        As `claim_paper`.
    date : date
    """
    texts = {"paper.date": f"{date.day} {date:%B %Y}", "provenance.version.survstats": __version__}
    words = Wording(Facts(numbers, texts))
    figure = _figure(numbers, words)
    return ClaimContent(
        head=_head(words),
        question=words.say("claim_paper.question"),
        told=_if_there(words, "told", "told_aboard", "told_dead" if "from_aboard" not in sentences else ""),
        answer=words.say(f"claim_paper.answer.{_answer(sentences)}"),
        figure=figure,
        caption=words.say(f"claim_paper.caption{'' if figure is None else _drawn(numbers)}"),
        blocks=_blocks(words, sentences),
        letter=_letter(words, sentences),
        foot=(
            join(
                words.say("claim_paper.caution_name"),
                words.say("claim.caution"),
                words.say("claim_paper.aid"),
            ),
        ),
    )


def is_claim_paper(path: Path) -> bool:
    """Whether an earlier page of this kind stands there: that alone may be replaced."""
    try:
        if not path.is_file():  # a pipe would never end
            return False
        with path.open("rb") as file:
            start = file.read(_FIRST_BYTES)
    except OSError:
        return False
    head = start.partition(b"</head>")[0].partition(b"<!--")[0]
    return start.startswith(_DOCTYPE) and f'<meta name="generator" content="{GENERATOR}">'.encode() in head


def _head(words: Wording) -> Head:
    return Head(
        language=words.template("language"),
        title=words.say("claim_paper.title"),
        maker=words.say("paper.maker"),
        paper_name=words.say("claim_paper.name"),
        stamp=(),
        stamp_note=(),
        edition=words.say("claim_paper.edition"),
        page_label=(),
        notes=(),
    )


def _answer(sentences: Sequence[str]) -> str:
    """Which of the answers applies: by what is known of the dead."""
    for key in ("with_dead_one", "with_dead", "no_comparison"):
        if key in sentences:
            return key
    return "alone"


def _blocks(words: Wording, sentences: Sequence[str]) -> tuple[Block, ...]:
    """What it carries alone, where there is no difference, what a share aboard says, and what no count settles."""
    rounded = [key for key in ("rounded", "not_whole") if key in sentences]
    even = next(key for key in ("no_effect", "no_effect_range", "no_comparison") if key in sentences)
    aboard = "given" if "from_aboard" in sentences else "open"
    return (
        _block(words, "alone", "lead", *rounded, "ends"),
        _block(words, "even", f"lead_{even}", "" if even == "no_comparison" else "which_way"),
        _block(
            words,
            "aboard",
            f"lead_{aboard}",
            "range" if aboard == "given" else "contradiction",
            "leverage",
            "roster",
        ),
        _block(words, "beyond", "lead", "groups", "chance"),
    )


def _block(words: Wording, name: str, lead: str, *body: str) -> Block:
    key = f"claim_paper.{name}"
    told = tuple(words.say(f"{key}.{part}") for part in body if part and words.can_say(f"{key}.{part}"))
    return Block(words.say(f"{key}.name"), words.say(f"{key}.{lead}"), (join(*told),) if told else ())


def _letter(words: Wording, sentences: Sequence[str]) -> Letter:
    """The question to send back; that for the number itself only where nobody has given it."""
    known = "ask_source" in sentences
    keys = ("source" if known else "dead", "papers", "trained", "mishaps")
    return Letter(
        title=words.say("claim_paper.letter.title"),
        lead=words.say(f"claim_paper.letter.lead{'_known' if known else ''}"),
        opening=words.say("claim_paper.letter.opening"),
        questions=tuple(words.say(f"claim_paper.letter.{key}") for key in keys),
        close=words.say("claim_paper.letter.close"),
    )


def _figure(numbers: Mapping[str, Number], words: Wording) -> BreakEvenFigure | None:
    """F3 for the headline; a range is drawn for its middle."""
    share, survivors = numbers["claim.trained_of_survivors"].value, numbers["claim.survivors"].value
    if not 0 < share < 1:
        return None
    known = numbers.get("claim.trained_of_dead")
    low, high = (0.0, 1.0) if known is None else (_end(known.low, known), _end(known.high, known))
    single = known is not None and low == high
    return BreakEvenFigure(
        survivors_trained=share * survivors,
        survivors_untrained=(1 - share) * survivors,
        dead=numbers["claim.died"].value,
        break_even=share,
        known=low if single else None,
        unknown_low=low,
        unknown_high=high,
        break_even_text=words.say("claim_paper.figure.point"),
        known_text=words.say("claim_paper.figure.known") if single else (),
        unknown_text=() if single else words.say(f"claim_paper.figure.{'any' if known is None else 'range'}"),
        above_text=words.say("break_even.above"),
        below_text=words.say("break_even.below"),
        x_title=words.say("break_even.x"),
        y_title=words.say("claim_paper.figure.y"),
        alt=words.say(f"claim_paper.figure.alt{'' if known is None else '_known'}"),
    )


def _drawn(numbers: Mapping[str, Number]) -> str:
    """Whether the figure is drawn for the one share that was told, or for the middle of a range."""
    told = numbers["claim.trained_of_survivors"]
    return "_one" if told.low == told.high else "_middle"


def _end(limit: float | None, number: Number) -> float:
    return number.value if limit is None else limit


def _if_there(words: Wording, *keys: str) -> Text:
    """Those of the sentences that can be said, in a row."""
    found = (f"claim_paper.{key}" for key in keys if key)
    return join(*(words.say(key) for key in found if words.can_say(key)))
