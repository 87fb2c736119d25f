"""What the budget paper says: its first page and its sections, from the results of a study."""

from __future__ import annotations

import datetime

from survstats.report.annex.content import AnnexContent
from survstats.report.brief_word import word_told
from survstats.report.budget import (
    buys,
    evidence,
    figures,
    inputs,
    interval,
    opening,
    planning,
    saying,
    worth,
    would_have_to,
)
from survstats.report.budget.parts import form_of, is_worked_out
from survstats.report.head import accepted_rules, banners, paper_head, paper_words, strong
from survstats.report.lettering import join
from survstats.study.results import StudyResults


def budget_content(results: StudyResults, *, date: datetime.date) -> AnnexContent | None:
    """The content of the budget paper; None where the study file names no decision, or it is withheld.

    Parameters
    ----------
    results : StudyResults
    date : date
        The day printed on the paper.
    """
    if not form_of(results):
        return None
    words = paper_words(results, date)
    accepted = accepted_rules(results, words)
    worked_out = (
        would_have_to.have_to(results, words, figures.have_to_picture(results, words)),
        buys.buys(results, words),
        buys.exposure(results, words),
        interval.interval(results, words, figures.interval_picture(results, words)),
        interval.whom(results, words),
        buys.rival(results, words),
        worth.worth(results, words, figures.best_picture(results, words)),
        worth.swings(results, words, figures.swings_picture(results, words)),
        interval.pool(results, words),
        interval.matrix(results, words),
        evidence.evidence(results, words),
        planning.planning(results, words),
    )
    sections = (
        saying.saying(results, words),
        *(worked_out if is_worked_out(results) else ()),
        inputs.inputs(results, words),
        *((inputs.left_out(words),) if is_worked_out(results) else ()),
        inputs.cautions(words),
    )
    opened = (opening.side_by_side(results, words), opening.rests(results, words))
    return AnnexContent(
        head=paper_head(results, words, name="budget.name", title="budget.title"),
        banners=(*banners(results, words), *((accepted,) if accepted else ())),
        question=words.say("budget.asked"),
        population=join(words.say("budget.against"), word_told(results, words)),
        answer=opening.answer(results, words),
        contents=words.say("annex.contents"),
        sections=tuple(section for section in sections if section is not None and section.blocks),
        foot=(join(strong(words.say("foot.caution_name")), words.say("foot.caution")),),
        opening=tuple(block for block in opened if block is not None),
    )
