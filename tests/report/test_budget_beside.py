"""The budget paper on others' publications and on more records: every code has its sentence, no number is lost."""

from __future__ import annotations

import datetime
from dataclasses import replace
from itertools import product
from typing import get_args

import pytest

from survstats.decision.lifted_word import Lift
from survstats.decision.other_evidence import Use
from survstats.decision.publication import Bias
from survstats.report.budget.evidence import evidence
from survstats.report.budget.planning import planning
from survstats.report.content import plain
from survstats.report.head import paper_words
from survstats.study.evidence_told import COLUMNS
from survstats.study.planning_told import RECORD
from survstats.study.results import Number, Table

WORDS = ("cannot_tell", "suggests", "supports")
ROW = {
    **dict.fromkeys(COLUMNS, None),
    **{
        "name": "Long Banks",
        "source": "S. Ource 1999",
        "population": "all roles",
        "currency": "within 24 months",
    },
    **{"overlap": "", "risk_of_bias": "some", "use": "pooled", "corrected": "no", "strata": 1},
    **{"trained": 50, "trained_died": 9, "untrained": 47, "untrained_died": 17},
    **{
        "rr": 0.498,
        "rr_low": 0.246,
        "rr_high": 1.01,
        "rd": 0.18,
        "rd_low": 0.01,
        "rd_high": 0.36,
        "weight": 1.0,
    },
}
SURVIVORS = {
    **ROW,
    **dict.fromkeys(("trained", "trained_died", "untrained", "untrained_died", "rr"), None),
} | {
    **{"name": "Amber Shoals", "use": "survivor_only", "rd_low": -0.4545, "rd_high": 0.7692},
}


def number(value, low=None, high=None, unit="ratio"):
    return Number(value, unit, "made up", low, high, None if low is None else 0.95)


def told(base, rows, *, lift="not_beyond_chance", pooled=True, own=True):
    """Results with these publications, in place of those that the study has."""
    numbers = {name: one for name, one in base.numbers.items() if not name.startswith("evidence.")}
    numbers |= {
        f"evidence.{name}": number(at, unit="count")
        for at, name in enumerate(("given", "pooled", "people", "fewest"), 3)
    }
    if pooled:
        numbers |= {
            "evidence.rr_death": number(0.643, 0.372, 1.11),
            "evidence.prediction": number(0.643, 0.307, 1.35),
        }
        numbers["evidence.heterogeneity"] = number(0.37, unit="share")
    if pooled and own:
        numbers |= {
            "evidence.own": number(0.674, 0.347, 1.31),
            "evidence.posterior": number(0.655, 0.398, 1.09),
        }
        numbers |= {"evidence.posterior_half": number(0.661, 0.391, 1.13)}
        numbers |= {
            f"evidence.trust_{name}": number(value, unit="share")
            for name, value in (("before", 0.8), ("after", 0.94))
        }
    absent = {**base.absent, "evidence.rr_death": "too_few_studies", "evidence.posterior": "own_unbounded"}
    table = Table(COLUMNS, tuple(tuple(row[name] for name in COLUMNS) for row in rows))
    return replace(
        base,
        numbers=numbers,
        absent=absent,
        tables={**base.tables, "evidence": table},
        codes={**base.codes, "evidence.lift": lift},
    )


def said(section):
    """All that a section says, as one text."""
    texts = [section.title, section.lead]
    for block in section.blocks:
        texts += [block.title, block.lead, *block.items]
        texts += [cell for row in (block.table.rows if block.table else ()) for cell in row]
    return " ".join(plain(text) for text in texts).replace("\u00a0", " ")


def section(make, results):
    return make(results, paper_words(results, datetime.date(2026, 11, 26)))


@pytest.fixture(scope="module")
def base(thin_results):
    """Results of a study that is carried out fast; what is told here is put in its place."""
    return thin_results["one_occupant"]


# ---- others' publications ------------------------------------------------------------------------


def test_without_publications_there_is_no_section(base):
    tables = {name: table for name, table in base.tables.items() if name != "evidence"}
    assert section(evidence, replace(base, tables=tables)) is None


def test_every_number_and_name_of_a_publication_stands_there(base):
    text = said(section(evidence, told(base, [ROW, SURVIVORS])))
    for part in (
        "Long Banks",
        "S. Ource 1999",
        "within 24 months",
        "9 of 50",
        "17 of 47",
        "0.50 (0.25 to 1.0)",
    ):
        assert part in text, part
    for part in (
        "0.64 (0.37 to 1.1)",
        "0.31 to 1.4",
        "0.67 (0.35 to 1.3)",
        "0.66 (0.40 to 1.1)",
        "80 %",
        "94 %",
    ):
        assert part in text, part
    assert "anywhere from \u221245 to 77 points" in text


@pytest.mark.parametrize("lift", get_args(Lift))
def test_every_reason_for_the_word_has_a_sentence_of_its_own(base, lift):
    text = said(section(evidence, told(base, [ROW], lift=lift)))
    others = [
        said(section(evidence, told(base, [ROW], lift=other))) for other in get_args(Lift) if other != lift
    ]
    assert text not in others
    assert lift not in text


@pytest.mark.parametrize(("use", "bias"), list(product(get_args(Use), get_args(Bias))))
def test_what_is_done_with_a_table_is_said_in_words(base, use, bias):
    row = {**(SURVIVORS if use == "survivor_only" else ROW), "use": use, "risk_of_bias": bias}
    text = said(section(evidence, told(base, [row])))
    assert use not in text
    assert ("Every mishap counts once" in text) == (use in ("other_report", "same_mishaps"))


def test_too_few_tables_are_listed_and_why_they_are_not_put_together(base):
    text = said(section(evidence, told(base, [ROW], pooled=False)))
    assert "listed and not put together" in text
    assert "too few whole tables" in text
    assert "0.64" not in text


def test_an_own_ratio_without_a_limit_is_not_combined_and_it_is_said(base):
    text = said(section(evidence, told(base, [ROW], own=False)))
    assert "has no limit on one side" in text
    assert "0.66" not in text


# ---- more records --------------------------------------------------------------------------------


def foretold(base, *, best="several", worst="none", best_word=("suggests", "benefit"), held=()):
    names = ("mishaps", "mishaps_for_precision", "more_for_precision", "total_to_settle", "mishaps_to_settle")
    names = (*names, "total_if_as_estimated", "mishaps_if_as_estimated")
    numbers = {f"planning.{name}": number(1000 + 7 * at, unit="count") for at, name in enumerate(names)}
    numbers |= {
        "planning.half_width": number(0.1192, unit="difference"),
        "planning.chance_aimed": number(0.8, unit="share"),
    }
    numbers |= {"planning.years_to_settle": number(317.0, unit="years")}
    numbers |= {
        f"planning.next_{name}": number(value, unit="count")
        for name, value in (("people", 18), ("tried", 3), ("best_mishaps", 2), ("worst_mishaps", 2))
    }
    codes = {"planning.next": "tried", "planning.next_best": best, "planning.next_worst": worst}
    codes |= {"planning.next_best_word": best_word[0], "planning.next_best_direction": best_word[1]}
    codes |= {"planning.next_worst_word": "cannot_tell", "planning.next_worst_direction": "none"}
    record = Table(
        ("field", "of_died", "known_died", "of_survived", "known_survived"),
        tuple((field, 40, at, 80, 30 + at) for at, field in enumerate(RECORD)),
    )
    sizes = Table(
        ("mishaps", "half_width", "chance_worthwhile", "chance_estimate"), ((55, 0.1192, 0.128, 0.255),)
    )
    return replace(
        base,
        numbers={**base.numbers, **numbers},
        codes={**base.codes, **codes},
        lists={**base.lists, "planning.not_by_number": list(held)},
        tables={**base.tables, "planning": sizes, "next_record": record},
        absent={name: why for name, why in base.absent.items() if not name.startswith("planning")},
    )


def test_every_number_of_the_plan_stands_there(base):
    text = said(section(planning, foretold(base)))
    for part in (
        "1 000 mishaps",
        "1 007 mishaps",
        "1 014 more",
        "1 021 mishaps",
        "1 028 more",
        "1 035 mishaps",
        "1 042 more",
    ):
        assert part in text, part
    for part in (
        "11.9",
        "320 years",
        "18 people aboard",
        "2 such mishaps in a row",
        "13 %",
        "3 of 40",
        "33 of 80",
    ):
        assert part in text, part
    assert "suggest a benefit" in text


def test_where_the_mishaps_in_hand_are_enough_no_number_of_more_is_told(base):
    results = foretold(base)
    none = ("mishaps_to_settle", "years_to_settle", "mishaps_if_as_estimated", "more_for_precision")
    numbers = {f"planning.{name}": replace(results.numbers[f"planning.{name}"], value=0.0) for name in none}
    text = said(section(planning, replace(results, numbers={**results.numbers, **numbers})))
    assert text.count("as many mishaps as are in hand would show it") == 2
    assert "no more mishaps are needed" in text
    for part in ("0 more", "0 years", "more than there are"):
        assert part not in text, part


@pytest.mark.parametrize("state", ["one", "several", "none", "strongest"])
def test_what_the_next_mishap_could_do_is_said_for_both_sides(base, state):
    text = said(section(planning, foretold(base, best=state, worst=state)))
    assert text.count("none, a quarter or half") == 2
    assert ("could not tell" in text) == (state in ("one", "several"))


@pytest.mark.parametrize(
    "word",
    [
        ("suggests", "harm"),
        ("supports", "benefit"),
        ("supports", "harm"),
        ("supports", "no_worthwhile_difference"),
    ],
)
def test_every_word_that_may_come_of_it_has_its_sentence(base, word):
    assert "Then they would" in said(section(planning, foretold(base, best_word=word)))


def test_gates_that_more_of_the_same_would_not_mend_are_named(base):
    assert "missing papers of the dead" in said(section(planning, foretold(base, held=("seen",))))
    assert "hardly mend" not in said(section(planning, foretold(base)))


def test_without_an_estimate_the_reason_is_told_and_the_list_stays(base):
    text = said(section(planning, base))
    assert "What the next record must hold" in text
    assert "interval now reaches" not in text
