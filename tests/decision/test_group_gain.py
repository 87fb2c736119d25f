"""Are the effects of groups those of the main model, over the people of each?"""

from __future__ import annotations

import numpy as np
import pytest
from fleet_records import bare, by_role_and_seat, demo, everybody

from survstats.decision.draw_gain import draw_gain
from survstats.decision.group_gain import FEWEST_PEOPLE, group_gain, recorded_survival
from survstats.decision.world import NEVER_TRAINED, TRAINED
from survstats.effects.standardise import standardise
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.resampling import stream


def rng():
    return stream(7, "gain")


@pytest.fixture(scope="module")
def main():
    return demo("demo_main")


@pytest.mark.parametrize(("target", "kind"), [("untrained", NEVER_TRAINED), ("trained", TRAINED)])
def test_a_group_has_the_effect_over_its_own_people(main, target, kind):
    groups = by_role_and_seat(main.analysed) | everybody(main.analysed)
    gain = group_gain(main.refits, groups)
    assert not gain.borrowed.any()
    for at, rows in enumerate(groups.values()):
        found = standardise(main.refits, target=target, rows=rows)
        assert gain.difference[at, kind] == found.difference.value
        assert gain.survival_untrained[at, kind] == found.if_none.value
        assert gain.people[at, kind] == found.difference.occupants
        np.testing.assert_array_equal(gain.risks[1:, at, kind], found.leave_one_out)


def test_a_small_group_borrows_the_effect_of_its_whole_arm(main):
    some = np.flatnonzero(main.refits.model.exposure == 1)[: FEWEST_PEOPLE - 1]
    few = np.zeros(len(main.analysed), dtype=bool)
    few[some] = True
    gain = group_gain(main.refits, {"few": few, **everybody(main.analysed)})
    assert gain.people[0].tolist() == [0, FEWEST_PEOPLE - 1]
    assert gain.borrowed.tolist() == [[True, True], [False, False]]
    np.testing.assert_array_equal(gain.risks[:, 0], gain.risks[:, 1])


def test_many_people_of_one_mishap_borrow_too(main):
    codes = main.refits.model.design.mishap_codes
    largest = np.bincount(codes[main.refits.model.exposure == 0]).argmax()
    gain = group_gain(main.refits, {"one": codes == largest})
    assert gain.people[0, NEVER_TRAINED] >= FEWEST_PEOPLE
    assert gain.borrowed[0, NEVER_TRAINED]


def test_without_a_model_survival_is_as_recorded_and_nothing_is_gained():
    frame = bare(
        [(at % 5, "crew", "alive" if at % 3 else "gone") for at in range(20)] + [(1, "few", "alive")] * 3
    )
    found = recorded_survival(frame, {name: frame["group"].eq(name).to_numpy() for name in ("crew", "few")})
    assert found.mishaps == 5
    assert found.borrowed.tolist() == [[False, False], [True, True]]
    assert found.survival_untrained[0].tolist() == [0.65, 0.65]
    assert found.survival_untrained[1].tolist() == [16 / 23, 16 / 23]
    assert (found.difference == 0).all()
    without = frame[frame["mishap_id"].ne(0) & frame["group"].eq("crew")]["survived"].mean()
    assert found.risks[1, 0, 0, 1] == pytest.approx(without)
    drawn = draw_gain(found, np.full(2_000, 24.0), np.array([3.0]), rng())
    assert (drawn.gain == 0).all()
    assert drawn.survival_untrained[:, 0, 0].std() > 0


def test_too_little_is_said():
    frame = bare([(1, "crew", "alive"), (1, "crew", "gone")])
    for rows, reason in ((frame, "one_mishap"), (frame.iloc[:0], "no_rows")):
        with pytest.raises(NotEstimable) as caught:
            recorded_survival(rows, {"crew": np.ones(len(rows), bool)})
        assert caught.value.reason == reason
