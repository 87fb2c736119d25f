"""What the annex says: its sections, from the results of a study."""

from __future__ import annotations

import datetime

from survstats.report.annex import (
    asked,
    cabin,
    causes,
    doubts,
    estimates,
    fit,
    getting_out,
    groups,
    methods,
    runs,
    unknown,
    word,
)
from survstats.report.annex.content import AnnexContent
from survstats.report.brief import answer, population_key
from survstats.report.head import (
    accepted_rules,
    banners,
    paper_head,
    paper_words,
    population_filter,
    strong,
)
from survstats.report.lettering import join
from survstats.study.results import StudyResults


def annex_content(results: StudyResults, *, date: datetime.date) -> AnnexContent:
    """The content of the annex: every section, those without a figure saying why.

    Parameters
    ----------
    results : StudyResults
    date : date
        The day printed on the paper.
    """
    words = paper_words(results, date)
    accepted = accepted_rules(results, words)
    sections = [
        asked.question(results, words),
        asked.flow(results, words),
        asked.missing(results, words),
        asked.crude(results, words),
        estimates.estimate(results, words),
        estimates.within(results, words),
        estimates.between(results, words),
        groups.recency(results, words),
        groups.levels(results, words),
        getting_out.getting_out(results, words),
        cabin.cabin(results, words),
        runs.runs(results, words),
        unknown.unknown(results, words),
        fit.fit(results, words),
        fit.one_out(results, words),
        doubts.doubts(results, words),
        word.word(results, words),
        causes.graph(results, words),
        methods.methods(words),
        methods.provenance(results, words),
        methods.cautions(words),
    ]
    return AnnexContent(
        head=paper_head(results, words, name="annex.name", title="annex.title"),
        banners=(*banners(results, words), *((accepted,) if accepted else ())),
        question=words.say("annex.asked"),
        population=join(words.say(f"question.{population_key(results)}"), population_filter(results, words)),
        answer=answer(results, words),
        contents=words.say("annex.contents"),
        sections=(*sections, methods.reporting(words, sections)),
        foot=(join(strong(words.say("foot.caution_name")), words.say("foot.caution")),),
    )
