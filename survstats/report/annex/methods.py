"""How was each number reached, where is each point of the reporting list, and from which files does it all come?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from survstats.report.annex.content import AnnexBlock, AnnexSection
from survstats.report.annex.tables import Row, section, tabled, texts
from survstats.report.content import Piece, Text, plain
from survstats.report.head import is_shared, run_log
from survstats.report.wording import Wording
from survstats.study.results import StudyResults

METHODS = (
    "standardised",
    "jackknife",
    "corrected_error",
    "penalised",
    "sign_flip",
    "within",
    "mid_p",
    "doubly_robust",
    "random_intercept",
    "population_average",
    "mundlak",
    "shrunken",
    "contrasts",
    "fading",
    "chained",
    "resampled",
    "pooled",
    "calibration",
    "graph",
    "selection",
    "overlap",
    "e_value",
    "exact_shares",
    "unknown_range",
    "delta",
    "hidden_trait",
    "hidden_bias",
    "wrong_entries",
    "no_effect_outcome",
    "listed_choices",
    "spans_of_time",
    "time_ratio",
    "stages",
    "rates_of_getting_out",
    "steady_rates",
)
#: The items of the reporting list for observational studies, and the sections that answer them.
REPORTING: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("title", ("question",)),
    ("background", ("question",)),
    ("objectives", ("question",)),
    ("design", ("question", "methods")),
    ("setting", ("question", "flow")),
    ("participants", ("flow",)),
    ("variables", ("question", "graph")),
    ("sources", ("missing", "provenance")),
    ("bias", ("graph", "imputation", "doubts")),
    ("size", ("estimate", "fit")),
    ("quantities", ("methods",)),
    ("methods", ("methods", "word")),
    ("numbers", ("flow",)),
    ("descriptive", ("missing", "crude")),
    ("outcomes", ("crude", "getting-out")),
    ("main", ("estimate", "within")),
    ("other", ("between", "recency", "levels", "cabin", "runs", "imputation", "one-out", "doubts")),
    ("key", ("estimate",)),
    ("limits", ("imputation", "fit", "doubts", "graph", "cautions")),
    ("interpretation", ("word", "cautions")),
    ("generalisability", ("levels", "cautions")),
    ("funding", ("provenance",)),
)


def methods(words: Wording) -> AnnexSection:
    """What was done, in plain words, and the source of each method."""
    rows: list[Row] = [
        (
            words.say(f"annex.method.{name}"),
            words.say(f"annex.method.{name}_how"),
            (words.slot(f"source.{name}", "text"),),
        )
        for name in METHODS
    ]
    heads = ("what", "how", "source")
    return section(
        words,
        "methods",
        tabled(words, "methods.each", heads, rows, numbers=()),
        AnnexBlock((), (), items=texts(words, "annex.methods.intervals", "annex.methods.draws")),
    )


def reporting(words: Wording, sections: Sequence[AnnexSection]) -> AnnexSection:
    """Where each item of the reporting list for observational studies is answered."""
    numbered: Mapping[str, Text] = {
        part.key: (Piece(f"{at}"), Piece(" "), *part.title) for at, part in enumerate(sections, 1)
    }
    rows: list[Row] = [
        (
            (Piece(f"{at}"),),
            words.say(f"annex.reporting.item_{item}"),
            (Piece("; ".join(plain(numbered[key]) for key in keys)),),
        )
        for at, (item, keys) in enumerate(REPORTING, 1)
    ]
    return section(
        words, "reporting", tabled(words, "reporting.items", ("number", "item", "where"), rows, numbers=())
    )


def provenance(results: StudyResults, words: Wording) -> AnnexSection:
    """The files, versions and plans behind the figures, and who paid."""
    keys = ["provenance.hashes_shared" if is_shared(results) else "provenance.hashes"]
    keys += ["annex.provenance.versions", "annex.provenance.seed", "provenance.rounded"]
    funding = (
        "annex.provenance.funding" if results.texts.get("study.funding") else "annex.provenance.no_funding"
    )
    items = (*texts(words, *keys), *run_log(results, words), *texts(words, funding, "annex.provenance.trace"))
    return section(words, "provenance", AnnexBlock((), (), items=items))


def cautions(words: Wording) -> AnnexSection:
    """What this paper is not, and what its figures do not say."""
    keys = ("aid", "rules", "nobody", "live", "association", "fitness", "elsewhere", "many")
    return section(
        words, "cautions", AnnexBlock((), (), items=texts(words, *(f"annex.cautions.{key}" for key in keys)))
    )
