"""What stands on every page of a paper, and what must be said before anything is read?"""

from __future__ import annotations

import datetime

from survstats.report.content import Head, Piece, Text
from survstats.report.wording import Wording, facts_of, in_series
from survstats.study.results import StudyResults


def paper_words(results: StudyResults, date: datetime.date) -> Wording:
    """The sentences of a paper made on a day; where it is passed on, no date finer than the year is told."""
    return Wording(
        facts_of(results, paper_date=str(date.year) if is_shared(results) else f"{date.day} {date:%B %Y}")
    )


def paper_head(results: StudyResults, words: Wording, *, name: str, title: str) -> Head:
    """The head and foot of every page.

    Parameters
    ----------
    results : StudyResults
    words : Wording
    name, title : str
        Keys of the paper's name and of its whole title.
    """
    invented = results.codes["study.invented"] == "yes"
    return Head(
        language=words.template("language"),
        title=words.say(title),
        maker=words.say("paper.maker"),
        paper_name=words.say(name),
        stamp=words.say("paper.stamp") if invented else (),
        stamp_note=words.say("paper.stamp_note") if invented else (),
        edition=words.say("paper.edition"),
        page_label=words.say("paper.page_of"),
        notes=tuple(note for note in (_audience(results, words), accepted_rules(results, words)) if note),
    )


def _audience(results: StudyResults, words: Wording) -> Text:
    """For whom the paper is."""
    key = f"paper.audience_{results.codes.get('paper.audience', '')}"
    return words.say(key) if words.has(key) else ()


def accepted_rules(results: StudyResults, words: Wording) -> Text:
    """Which rules the study file lets stand, and why; empty where it lets none."""
    table = results.tables.get("accepted")
    if table is None or not table.rows:
        return ()
    rules = [words.say("paper.accepted_rule", row=f"accepted.{at}") for at in range(len(table.rows))]
    return (*strong(words.say("paper.accepted")), Piece(" "), *in_series(*rules))


def banners(results: StudyResults, words: Wording) -> tuple[Text, ...]:
    """Cautions about how the records came to be, which stand above everything else."""
    keys = []
    if results.codes["records.survivor_only"] != "no":
        said = results.codes["records.survivor_only"] == "said"
        keys.append("said_survivor_only" if said else "survivor_only")
    told = {"R38"} if keys == ["survivor_only"] else set()
    keys += [rule for rule in results.lists["records.banners"] if rule not in told]
    return tuple(words.say(f"banner.{key}") for key in keys)


def population_filter(results: StudyResults, words: Wording) -> Text:
    """To whom the study file restricts the study; empty where it does not."""
    first, last = (f"population.{end}_year" in results.numbers for end in ("first", "last"))
    keys = ["years" if first and last else "years_from" if first else "years_until"] if first or last else []
    keys += [key for key in ("classes", "operators", "roles") if results.lists.get(f"population.{key}")]
    if not keys:
        return ()
    return (*words.say("population.only"), Piece(" "), *words.series(*(f"population.{key}" for key in keys)))


def run_log(results: StudyResults, words: Wording) -> tuple[Text, ...]:
    """How many plans were tried on these records, or why that is not known; where it is shared, what that guards."""
    keys = [f"log_{results.codes['log.state']}"] if "log.state" in results.codes else []
    if keys == ["log_kept"] and not _is(results, "log.plans", more_than=1):
        keys = ["log_only"]
    if _is(results, "log.states", more_than=1):
        keys.append("log_states")
    if is_shared(results):
        keys.append("shared_alone")
        if _is(results, "log.shared", more_than=1):
            keys.append("shared_before")
    return (words.join(*(f"provenance.{key}" for key in keys)),) if keys else ()


def _is(results: StudyResults, name: str, *, more_than: int) -> bool:
    return name in results.numbers and results.numbers[name].value > more_than


def is_shared(results: StudyResults) -> bool:
    """Whether the paper is one to be passed on."""
    return results.codes.get("paper.audience") == "sharing"


def strong(text: Text) -> Text:
    """The text with every piece set strong."""
    return tuple(Piece(piece.text, piece.id, strong=True) for piece in text)
