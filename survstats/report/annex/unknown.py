"""What if people of unknown training are filled in, and what if they were trained more, or less, than that?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from survstats.report.annex.content import AnnexBlock, AnnexSection
from survstats.report.annex.figures import chains_picture
from survstats.report.annex.tables import (
    named_list,
    refused,
    said,
    section,
    some,
    table_rows,
    texts,
    with_interval,
)
from survstats.report.content import Text
from survstats.report.records_content import TableSection
from survstats.report.wording import Wording
from survstats.study.results import StudyResults


def unknown(results: StudyResults, words: Wording) -> AnnexSection:
    """The estimate with the unknown filled in, how the filling went, and what another filling would give."""
    if "effect.rd_imputed" not in results.numbers:
        block = refused(words, results, "effect.rd_imputed")
        return section(words, "imputation", block, said(words, "imputation.range", "worst"), lead=None)
    return section(
        words,
        "imputation",
        _number(results, words),
        _delta(results, words),
        said(words, "imputation.range", "worst"),
        _chains(results, words),
    )


def drawn_training(results: StudyResults) -> bool:
    """Whether anybody's training was drawn, or gaps in the background alone."""
    return some(results, "imputed.people")


def _number(results: StudyResults, words: Wording) -> AnnexBlock:
    """The imputed difference: what was drawn, from what, and how many people are compared at least."""
    key, lists = "annex.imputation.number", results.lists
    training = drawn_training(results)
    parts: list[tuple[Text, ...]] = [
        texts(words, f"{key}.people") if training else (),
        _of_list(words, "fields", lists, "imputed.fields"),
        texts(words, f"{key}.difference", f"{key}.{'without' if training else 'without_fields'}"),
        texts(words, f"{key}.fewest", f"{key}.fraction"),
        _of_list(words, "leans", lists, "imputed.leans_on") if training else (),
        _of_list(words, "cut", lists, "imputed.left_out") if training else (),
        texts(words, f"{key}.how", f"{key}.draws"),
    ]
    lead = words.say(f"{key}.lead" if training else f"{key}.lead_fields")
    return AnnexBlock(words.say(f"{key}.title"), lead, items=tuple(item for part in parts for item in part))


def _of_list(words: Wording, key: str, lists: Mapping[str, Sequence[str]], name: str) -> tuple[Text, ...]:
    """A sentence that ends in a stored list; none where the list is empty."""
    found = lists.get(name, ())
    key = f"annex.imputation.number.{key}"
    return (named_list(words, key, found, name, of="annex.imputation.leans"),) if found else ()


def _chains(results: StudyResults, words: Wording) -> AnnexBlock | None:
    """Whether the draws have settled."""
    picture = chains_picture(results, words)
    return said(words, "imputation.chains", "rounds", picture=picture) if picture else None


def _delta(results: StudyResults, words: Wording) -> AnnexBlock | None:
    """The estimate where the unknown dead, or survivors, are likelier to have been trained than was filled in."""
    stored = {
        (row["delta_dead"], row["delta_survivors"]): f"imputation_delta.{at}"
        for at, row in enumerate(table_rows(results, "imputation_delta"))
    }
    living = list(dict.fromkeys(of_living for _, of_living in stored))
    steps = dict.fromkeys(of_dead for of_dead, _ in stored)
    dead = [step for step in steps if all((step, of_living) in stored for of_living in living)]
    if not (living and dead):
        return None
    key = "annex.imputation.delta"
    heads = [words.say(f"{key}.living", row=stored[dead[0], of_living]) for of_living in living]
    table = TableSection(
        title=words.say(f"{key}.title"),
        lead=words.say(f"{key}.lead"),
        heads=(words.say(f"{key}.dead"), *heads),
        right=(True,) * (1 + len(living)),
        rows=tuple(
            (
                words.cell(f"{stored[step, living[0]]}.delta_dead", "times_odds"),
                *(with_interval(words, stored[step, of_living], "points_bare") for of_living in living),
            )
            for step in dead
        ),
    )
    return AnnexBlock(table.title, table.lead, table=table)
