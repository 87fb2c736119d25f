"""Are groups told in their order, with the courses that fit, and never more than is known?"""

from __future__ import annotations

import pytest
from plausible_worlds import GROUPS, a_plan, given, many_worlds, two_policies

from survstats.decision.whom_first import candidates
from survstats.study.results_builder import ResultsBuilder
from survstats.study.whom_told import CAPACITY_IDS, IDS, store_whom

WORLDS = many_worlds()


def told(plan=None, form="lean", worlds=WORLDS, **words) -> ResultsBuilder:
    out = ResultsBuilder()
    store_whom(out, plan or a_plan(), worlds, two_policies(), form, **words)
    return out


def rows(out: ResultsBuilder) -> list[dict[str, object]]:
    table = out.tables["whom_first"]
    return [dict(zip(table.columns, row, strict=True)) for row in table.rows]


def with_months(**months: float):
    return a_plan(
        group=[
            {"name": name, "roles": ["passenger"]}
            | ({"months_since": given(months[name])} if name in months else {})
            for name in GROUPS
        ]
    )


def test_every_id_is_stored_or_absent_with_a_reason():
    for out in (
        told(),
        told(a_plan(inputs={})),
        told(form="would_have_to", points=0.05),
    ):
        stored = {*out.numbers, *out.tables}
        assert {name for name in IDS if name not in stored} == set(out.absent)


def test_rows_are_the_candidates_in_their_order():
    lines = rows(told())
    assert [row["rank"] for row in lines] == [1, 2, 3, 4]
    found = candidates(WORLDS, two_policies()[0], months_since=(None, None, None), horizon=2.0)
    by_name = {(row["group"], row["course"]): row for row in lines}
    assert set(by_name) == {
        ("crew", "refresher"),
        ("front", "refresher"),
        ("front", "first"),
        ("rear", "first"),
    }
    for at, (group, kind) in enumerate(zip(found.groups, found.kinds, strict=True)):
        row = by_name[GROUPS[group], kind]
        assert row["gain_lives"] == pytest.approx(found.gain[:, at].mean())
        assert row["low"] < row["gain_lives"] < row["high"]
        assert row["gain_per_hundred"] == pytest.approx(100 * row["gain_lives"] / row["courses"])
    each = [row["gain_per_hundred"] for row in lines]
    assert each == sorted(each, reverse=True)
    assert sum(row["chance_first"] for row in lines) == pytest.approx(1.0)


def test_the_chosen_fit_a_years_courses():
    out = told()
    chosen = [row for row in rows(out) if row["chosen"]]
    assert 0 < sum(row["courses"] for row in chosen) <= out.numbers["whom.capacity"].value
    assert sum(row["gain_lives"] for row in chosen) == pytest.approx(out.numbers["whom.chosen_gain"].value)
    assert (out.codes["whom.method"], out.numbers["whom.gap"].value) == ("exact", 0.0)
    few = told(a_plan(inputs={"courses_a_month": given(4.0)}))
    assert few.numbers["whom.chosen_gain"].value < out.numbers["whom.chosen_gain"].value


def test_joiners_take_their_first_courses_before_anybody_is_chosen():
    """40 crew, and nine tenths of 200 in front, join at the rates drawn for their groups; 240 courses are held."""
    numbers = told().numbers
    joiners = 40 * WORLDS.leaving[:, 0].mean() + 180 * WORLDS.leaving[:, 1].mean()
    assert numbers["whom.joiners"].value == pytest.approx(joiners)
    assert numbers["whom.capacity"].value == pytest.approx(240 - joiners)
    few = told(a_plan(inputs={"courses_a_month": given(1.0)}))
    assert (few.numbers["whom.joiners"].value, few.numbers["whom.capacity"].value) == (12.0, 0.0)
    assert not any(row["chosen"] for row in rows(few))


def test_without_the_number_of_courses_nobody_is_chosen():
    out = told(a_plan(inputs={}))
    assert {row["chosen"] for row in rows(out)} == {None}
    assert out.absent["whom.capacity"] == "not_given"
    assert "whom.method" not in out.codes


def test_months_given_for_a_group_count_and_more_of_them_gain_more():
    def gain(out: ResultsBuilder) -> float:
        return next(row["gain_lives"] for row in rows(out) if row["group"] == "crew")

    assert gain(told(with_months(crew=6.0))) < gain(told(with_months(crew=20.0)))
    assert told(with_months(crew=6.0)).codes["whom.basis"] == "both"
    assert told(with_months(crew=6.0, front=6.0)).codes["whom.basis"] == "given"
    assert told().codes["whom.basis"] == "settled"


def test_an_assumed_difference_is_said_in_every_row():
    out = told(form="would_have_to", points=0.05)
    assert {row["points"] for row in rows(out)} == {0.05}
    assert out.numbers["whom.points"].value == 0.05


def test_where_the_effect_is_assumed_neither_a_chance_of_being_first_nor_a_plan_is_told():
    out = told(form="would_have_to", points=0.05)
    for name in ("chance_first", "rank_low", "rank_high", "chosen"):
        assert {row[name] for row in rows(out)} == {None}, name
        assert None not in {row[name] for row in rows(told())}, name
    assert {out.absent[name] for name in CAPACITY_IDS} == {"cannot_tell"}
    assert "whom.method" not in out.codes


def test_where_training_harms_nobody_is_chosen():
    lines = rows(told(worlds=many_worlds(gain=-0.3)))
    assert all(row["gain_lives"] < 0 and row["chosen"] == 0 for row in lines)
