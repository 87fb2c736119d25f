"""Do the weights leave out what they should, and does each stream draw its own numbers?"""

from __future__ import annotations

import numpy as np
import pytest

from survstats.groundwork.resampling import bootstrap, leave_one_out, leave_pairs_out, stream


def test_each_mishap_is_left_out_once():
    weights = leave_one_out(4)
    assert np.asarray(weights).tolist() == [[0, 1, 1, 1], [1, 0, 1, 1], [1, 1, 0, 1], [1, 1, 1, 0]]


def test_pairs_leave_out_the_first_and_each_other():
    assert leave_pairs_out(4, 1).tolist() == [[0, 0, 1, 1], [1, 0, 0, 1], [1, 0, 1, 0]]


def test_bootstrap_draws_as_many_mishaps_as_there_are():
    counts = bootstrap(7, 500, np.random.default_rng(1))
    assert counts.shape == (500, 7)
    assert (counts.sum(axis=1) == 7).all()
    assert (counts >= 0).all()
    # multinomial with equal shares: mean 1, variance 1 - 1/g
    assert counts.mean() == pytest.approx(1)
    assert counts.var() == pytest.approx(6 / 7, rel=0.1)


def test_streams_are_repeatable_and_their_own():
    def first(seed, name):
        return stream(seed, name).integers(0, 2**62)

    assert first(1, "a") == first(1, "a")
    assert len({first(1, "a"), first(1, "b"), first(2, "a"), first(0, "")}) == 4
