"""What if people of unknown training are filled in, and what if they were trained more, or less, than that?"""

from __future__ import annotations

from survstats.report.annex.content import AnnexBlock, AnnexSection
from survstats.report.annex.figures import chains_picture
from survstats.report.annex.tables import refused, said, section, table_rows, with_interval
from survstats.report.records_content import TableSection
from survstats.report.wording import Wording
from survstats.study.results import StudyResults

#: Steps of the table beside the estimate; the file beside the paper holds the others.
_STEPS = (-3.0, -1.0, 0.0, 1.0, 3.0)


def unknown(results: StudyResults, words: Wording) -> AnnexSection:
    """The estimate with the unknown filled in, how the filling went, and what another filling would give."""
    if "effect.rd_imputed" not in results.numbers:
        block = refused(words, results, "effect.rd_imputed")
        return section(words, "imputation", block, said(words, "imputation.range", "worst"), lead=None)
    return section(
        words,
        "imputation",
        said(words, "imputation.number", "people", "difference", "without", "fraction", "how", "draws"),
        _delta(results, words),
        said(words, "imputation.range", "worst"),
        _chains(results, words),
    )


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
    dead = [step for step in _STEPS if all((step, of_living) in stored for of_living in living)]
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
