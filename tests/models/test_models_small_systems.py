"""Few replicates and many are solved by different roads; both must say the same, and so must packed matrices."""

from __future__ import annotations

import numpy as np
import pytest

from survstats.models import patterns
from survstats.models.packed import column_products, packing, step_products
from survstats.models.small_systems import FEW, factor, pivots_and_lost


@pytest.fixture
def systems():
    rows = np.random.default_rng(4).normal(size=(30, 20, 5))
    return np.ascontiguousarray(np.einsum("bni,bnj->ijb", rows, rows))


def both_roads(information, skip, floor):
    """A few systems factored as few, and the same among copies of themselves."""
    times, b = FEW // information.shape[2] + 1, information.shape[2]
    many = factor(*(np.concatenate([part] * times, axis=-1) for part in (information, skip, floor)))
    return factor(information, skip, floor), many.of(slice(0, b))


@pytest.mark.parametrize("skipped", [False, True])
def test_few_systems_and_many_are_solved_alike(systems, skipped):
    rng = np.random.default_rng(5)
    skip = (rng.random((5, 30)) < 0.3) & skipped
    few, many = both_roads(systems, skip, np.zeros((5, 30)))
    assert few.inverted
    assert not many.inverted
    right = rng.normal(size=(5, 30))
    np.testing.assert_allclose(few.solve(right), many.solve(right), atol=1e-12)
    np.testing.assert_allclose(few.inverse(), many.inverse(), atol=1e-12)
    np.testing.assert_allclose(few.log_determinant(), many.log_determinant(), rtol=1e-12)
    for j in range(30):
        kept = ~skip[:, j]
        expected = np.zeros(5)
        expected[kept] = np.linalg.solve(systems[:, :, j][np.ix_(kept, kept)], right[kept, j])
        np.testing.assert_allclose(few.solve(right)[:, j], expected, atol=1e-12)


def test_few_systems_run_away_as_many_do(systems):
    floor = np.zeros((5, 30))
    floor[2, 7] = 1e6
    few, many = both_roads(systems, np.zeros((5, 30), dtype=bool), floor)
    assert few.gone.tolist() == many.gone.tolist() == (np.arange(30) == 7).tolist()


def test_a_matrix_singular_to_the_last_bit_goes_the_road_of_many():
    # found by the rehearsal: rounding leaves every pivot above 0, and the inverse is refused all the same
    rows = np.array([[-2.0, 2.0], [1.0, 3.0], [0.0, 1.0]])
    singular = (rows @ rows.T * (12 / 11))[:, :, None]
    nothing = np.zeros((3, 1))
    few, many = both_roads(singular, nothing.astype(bool), nothing)
    assert not few.inverted
    np.testing.assert_allclose(few.pivots, many.pivots, atol=1e-12)
    np.testing.assert_array_equal(few.gone, many.gone)


def test_a_lost_column_is_found_among_few_and_many(systems):
    systems[:, 3, 11] = systems[:, 1, 11] + systems[:, 2, 11]
    systems[3, :, 11] = systems[1, :, 11] + systems[2, :, 11]
    pivots, lost = pivots_and_lost(systems)
    assert np.argwhere(lost).tolist() == [[3, 11]]
    many, also_lost = pivots_and_lost(np.concatenate([systems] * 3, axis=2))
    np.testing.assert_array_equal(also_lost[:, :30], lost)
    np.testing.assert_allclose(many[:, :30], pivots, rtol=1e-9)


def test_packed_products_are_those_of_the_whole_matrix():
    x = np.random.default_rng(6).normal(size=(7, 4))
    of = packing(4)
    whole = x[:, :, None] * x[:, None, :]
    np.testing.assert_allclose(column_products(x)[:, of.square], whole)
    values = np.random.default_rng(7).normal(size=len(of.left))
    quadratic = np.einsum("ni,ij,nj->n", x, values[of.square], x)
    np.testing.assert_allclose(values @ step_products(x.T), quadratic)


@pytest.mark.parametrize("mixer", [patterns.MIXER, np.uint64(0)])
def test_rows_are_told_apart_even_if_their_numbers_are_the_same(monkeypatch, mixer):
    monkeypatch.setattr(patterns, "MIXER", mixer)
    for rows in (300, 3000):  # sorted, and hashed
        matrix = np.random.default_rng(8).integers(-1, 3, (rows, 4)).astype(float)
        matrix[::3] *= -1.0  # minus zero is zero
        codes, first = patterns.pattern_codes(matrix)
        assert len(first) == len(np.unique(matrix, axis=0))
        np.testing.assert_array_equal(matrix[first][codes], matrix)
        assert codes[first].tolist() == list(range(len(first)))
