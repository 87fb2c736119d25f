"""Others' publications: what a study file may say of them, what is stored, and that the own word stays what it was."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import pytest

from survstats.challenge.verdict import GATES, Gate, Verdict
from survstats.groundwork.errors import StudyFileError
from survstats.groundwork.estimate import Estimate
from survstats.records.demo import demo_folder
from survstats.study import evidence_told
from survstats.study.plan import STUDY_FILE, parse_plan, read_study
from survstats.study.results_builder import ResultsBuilder

DEMO = (demo_folder("demo_main") / STUDY_FILE).read_text(encoding="utf-8")
BARE = DEMO[: DEMO.index("[[other_study]]")]
ENTRY = """
[[other_study]]
name = "{name}"
source = "invented for a test"
population = "alive at immersion"
currency = "within 24 months"
risk_of_bias = "{bias}"
{counts}
"""
WHOLE = "trained_lived = {}\ntrained_died = {}\nuntrained_lived = {}\nuntrained_died = {}"


def entry(name, *cells, bias="low", counts=None):
    return ENTRY.format(name=name, bias=bias, counts=counts or WHOLE.format(*cells))


def with_entries(*entries):
    return replace(read_study(demo_folder("demo_main")), plan=parse_plan((BARE + "".join(entries)).encode()))


def estimate(value, low, high, *, se, scale="log", unit="ratio"):
    return Estimate(value, low, high, se, 0.95, 54.0, scale, unit, "jackknife", 55, 300)


def found(
    word="cannot_tell",
    *,
    seen="partly_met",
    difference=(0.07, -0.05, 0.19),
    ratio=(0.7, 0.35, 1.4),
    main=True,
):
    """What a study found, as far as is asked here."""
    effect = SimpleNamespace(
        difference=estimate(*difference, se=0.06, scale="identity", unit="difference"),
        death_ratio=estimate(*ratio, se=math.log(2) / 2),
    )
    return SimpleNamespace(
        main=SimpleNamespace(effect=effect) if main else None,
        gates=tuple(Gate(name, seen if name == "seen" else "met", "x") for name in GATES),
        verdict=Verdict(word, "not_shown", "no", "none", "none", 8),
    )


def stored(study, what=None):
    out = ResultsBuilder()
    evidence_told.store_evidence(out, study, what or found())
    return out


STRATUM = "[[other_study.stratum]]\nname = 'x'\n" + WHOLE.format(4, 1, 3, 2)
CLEAR = [(900, 100, 800, 200), (450, 50, 400, 100), (90, 10, 80, 20), (1800, 200, 1600, 400)]
FOUR = [entry(f"table {at}", *cells) for at, cells in enumerate(CLEAR)]


# ---- the study file ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("entries", "reason"),
    [
        ([entry("a", counts="trained_lived = 3\ntrained_died = 1")], "half_a_table"),
        ([entry("a", counts="trained_lived = 3\nuntrained_lived = 1")], "half_a_table"),
        ([entry("a", counts="died = 3")], "half_a_table"),
        ([entry("a", 4, 1, 3, 2, counts=WHOLE.format(4, 1, 3, 2) + "\ndied = 3")], "two_tables"),
        (
            [entry("a", counts="died = 4\n[[other_study.stratum]]\nname = 'x'\n" + WHOLE.format(4, 1, 3, 2))],
            "two_tables",
        ),
        ([entry("a", 4, 1, 0, 0)], "empty_group"),
        ([entry("a", counts="trained_lived = 0\nuntrained_lived = 0\ndied = 4")], "empty_group"),
        ([entry("a", counts="trained_lived = 8\nuntrained_lived = 2\ndied = 0")], "empty_group"),
        ([entry("a", 4, 1, 3, 2), entry("a", 5, 1, 3, 2)], "study_twice"),
        ([entry(f"a{at}", 4, 1, 3, 2) for at in range(31)], "too_many_studies"),
        ([entry("a", 4, 1, 3, 2, bias="medium")], "literal_error"),
        ([entry("a", 4, -1, 3, 2)], "greater_than_equal"),
        ([entry("a", 4, 1.5, 3, 2)], "int_type"),
        ([entry("a", 4, 1, 3, 2, counts=WHOLE.format(4, 1, 3, 2) + "\npvalue = 0.01")], "extra_forbidden"),
    ],
)
def test_what_is_no_table_is_refused_with_its_line(entries, reason):
    with pytest.raises(StudyFileError) as caught:
        with_entries(*entries)
    assert caught.value.reason == reason
    assert caught.value.line is not None
    assert caught.value.line > BARE.count("\n")
    assert caught.value.remedy


def test_other_studies_are_part_of_what_was_agreed():
    """Trying other lists until one lifts the word is trying other plans; a file without any keeps its hash."""
    base, one, two = (with_entries(*FOUR[:many]).analysis_hash for many in (0, 1, 2))
    assert len({base, one, two}) == 3
    assert with_entries(*FOUR[:2][::-1]).analysis_hash == two


# ---- what is stored ------------------------------------------------------------------------------


def test_without_publications_nothing_is_told():
    out = stored(with_entries())
    assert out.codes == {"evidence.form": "not_given"}
    assert not out.numbers
    assert set(out.absent) == set(evidence_told.IDS)
    assert set(out.absent.values()) == {"not_asked"}


def test_two_tables_are_listed_and_nothing_is_put_together():
    out = stored(with_entries(*FOUR[:2]))
    assert out.codes["evidence.form"] == "listed"
    assert out.codes["evidence.lift"] == "too_few_studies"
    assert {out.absent[name] for name in ("evidence.rr_death", "evidence.posterior")} == {"too_few_studies"}
    table = out.tables["evidence"]
    assert [row[table.columns.index("rr")] for row in table.rows] == pytest.approx([0.5, 0.5])
    assert {row[table.columns.index("weight")] for row in table.rows} == {None}


def test_the_average_and_the_weights_stand_beside_every_table():
    out = stored(with_entries(*FOUR))
    assert out.numbers["evidence.rr_death"].value == pytest.approx(0.5)
    assert out.numbers["evidence.rr_death"].high < 1
    assert out.numbers["evidence.people"].value == sum(map(sum, CLEAR))
    at = out.tables["evidence"].columns.index("weight")
    assert sum(row[at] for row in out.tables["evidence"].rows) == pytest.approx(1)


def test_the_own_ratio_and_verdict_stay_and_the_lifted_word_is_another_id():
    what = found()
    out = stored(with_entries(*FOUR), what)
    assert out.codes["evidence.lift"] == "lifted"
    assert out.codes["evidence.word"] == "suggests"
    assert what.verdict.word == "cannot_tell"
    assert not any(name.startswith("verdict.") for name in out.codes)
    assert out.numbers["evidence.own"].value == 0.7
    own, after = out.numbers["evidence.own"], out.numbers["evidence.posterior"]
    assert own.low < after.low < after.value < after.high < own.high


@pytest.mark.parametrize(
    ("what", "entries", "why"),
    [
        (found(seen="not_met"), FOUR, "seen_not_met"),
        (found("supports"), FOUR, "already_strongest"),
        (found(main=False), FOUR, "no_own_direction"),
        (found(difference=(0.01, -0.02, 0.04)), FOUR, "inside"),
        (found(difference=(-0.07, -0.19, 0.05)), FOUR, "other_direction"),
        (found(), [*FOUR[:3], entry("weak", *CLEAR[3], bias="high")], "high_risk_of_bias"),
        (found(), [entry(str(at), 41, 9, 38, 12) for at in range(4)], "not_beyond_chance"),
    ],
)
def test_the_word_stays_where_a_condition_is_not_met(what, entries, why):
    out = stored(with_entries(*entries), what)
    assert (out.codes["evidence.lift"], out.codes["evidence.word"]) == (why, what.verdict.word)


def test_a_publication_at_high_risk_that_is_not_pooled_does_not_hold_the_word_back():
    asked = entry("asked", bias="high", counts="trained_lived = 48\nuntrained_lived = 12\ndied = 40")
    out = stored(with_entries(*FOUR, asked))
    assert out.codes["evidence.lift"] == "lifted"
    assert out.numbers["evidence.survivor_only"].value == 1


def test_survivors_asked_alone_give_the_bounds_of_the_design():
    """The design, section 4.1: N 100, D 40, q .8 gives -.454545 to .769231."""
    asked = entry("asked", counts="trained_lived = 48\nuntrained_lived = 12\ndied = 40")
    table = stored(with_entries(asked)).tables["evidence"]
    row = dict(zip(table.columns, table.rows[0], strict=True))
    assert (row["rd_low"], row["rd_high"]) == pytest.approx((-0.454545, 0.769231), abs=1e-6)
    assert row["rr"] is row["trained"] is None


def test_without_a_limit_of_the_own_ratio_nothing_is_weighed_in():
    out = stored(with_entries(*FOUR), found(ratio=(0.03, 0.0, 0.17)))
    assert out.absent["evidence.posterior"] == "own_unbounded"
    assert "evidence.rr_death" in out.numbers


def test_few_publications_are_trusted_over_a_wider_range():
    """Three tables and ten of the same kind: the prior is the prediction interval, so that three narrow less."""
    three = stored(with_entries(*[entry(str(at), *CLEAR[2]) for at in range(3)])).numbers[
        "evidence.posterior"
    ]
    ten = stored(with_entries(*[entry(str(at), *CLEAR[2]) for at in range(10)])).numbers["evidence.posterior"]
    assert three.high / three.low > 1.2 * ten.high / ten.low


def test_the_demo_lists_six_and_its_average_is_no_more_than_chance(demo_results):
    results = demo_results["demo_main"]
    counts = {
        name: results.numbers[f"evidence.{name}"].value
        for name in ("given", "pooled", "survivor_only", "left_out")
    }
    assert counts == {"given": 6, "pooled": 4, "survivor_only": 1, "left_out": 1}
    assert results.codes["evidence.lift"] == "not_beyond_chance"
    assert results.codes["evidence.word"] == results.codes["verdict.word"]
