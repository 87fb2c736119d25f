"""Can nobody work a small group out from the counts that are left? Checked against every table there could be."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from survstats.study.disclosure import Counts, counts_of, is_safe, possible, withhold

LIMIT = 5


def groups_of(table):
    """The cells, rows, columns and total of a two-way table of counts, as groups of people."""
    people, number = {}, itertools.count()
    for (row, column), size in np.ndenumerate(np.array(table)):
        cell = {next(number) for _ in range(size)}
        for name in (f"cell_{row}{column}", f"row_{row}", f"column_{column}", "total"):
            people.setdefault(name, set()).update(cell)
    return people


def hidden_names(counts, hidden):
    return {name for names, gone in zip(counts.aliases, hidden, strict=True) if gone for name in names}


def named(counts, name):
    return next(at for at, names in enumerate(counts.aliases) if name in names)


def every_solution(counts: Counts, hidden):
    """All whole numbers of the atoms that agree with the shown counts: by trying, without any solver."""
    shown = ~hidden
    most = [
        int(min(counts.values[at] for at in np.flatnonzero(counts.matrix[:, atom] * shown)))
        for atom in range(len(counts.atoms))
    ]
    assert np.prod([top + 1 for top in most]) < 5e6
    atoms = np.indices([top + 1 for top in most]).reshape(len(most), -1)
    return atoms[:, (counts.matrix[shown] @ atoms == counts.values[shown, None]).all(axis=0)].T


def small(counts):
    return (counts.values > 0) & (counts.values < LIMIT)


def test_people_of_the_same_groups_are_one_atom():
    counts = counts_of({"all": {1, 2, 3, 4}, "some": {1, 2}, "the_same": {2, 1}, "nobody": set()})
    assert sorted(counts.atoms) == [2, 2]
    assert ("some", "the_same") in counts.aliases
    assert "nobody" not in itertools.chain(*counts.aliases)


def test_small_counts_alone_are_given_back_by_their_margins():
    counts = counts_of(groups_of([[20, 3], [18, 30]]))
    at = named(counts, "cell_01")
    assert possible(counts, small(counts), counts.matrix[at]) == (3, 3)
    assert not is_safe(counts, small(counts), limit=LIMIT)


def test_withheld_counts_of_a_table_are_not_given_back():
    counts = counts_of(groups_of([[20, 3], [18, 30]]))
    hidden = withhold(counts, limit=LIMIT)
    at = named(counts, "cell_01")
    low, high = possible(counts, hidden, counts.matrix[at])
    assert low <= 3 < LIMIT <= high
    assert high - low + 1 >= LIMIT
    assert is_safe(counts, hidden, limit=LIMIT)


def test_the_small_rest_of_two_published_counts_is_protected():
    people = {"all": set(range(20)), "known": set(range(18))}
    assert hidden_names(counts_of(people), withhold(counts_of(people), limit=LIMIT))
    more = {"all": set(range(20)), "known": set(range(12))}
    assert not withhold(counts_of(more), limit=LIMIT).any()


def test_the_small_rest_of_three_published_counts_is_protected():
    people = {"all": set(range(30)), "first": set(range(13)), "second": set(range(13, 27))}
    assert hidden_names(counts_of(people), withhold(counts_of(people), limit=LIMIT))


def test_counts_to_be_spared_go_last():
    table = groups_of([[20, 3, 30], [18, 30, 40]])
    spare = frozenset({"cell_00", "cell_10"})
    free, spared = (
        hidden_names(counts_of(table), withhold(counts_of(table), limit=LIMIT, spare=which))
        for which in (frozenset(), spare)
    )
    assert "cell_00" in free
    assert not spared & spare


def test_where_all_are_small_all_goes():
    counts = counts_of(groups_of([[1, 2], [1, 0]]))
    assert withhold(counts, limit=LIMIT).all()


def test_nobody_and_large_counts_stay():
    counts = counts_of(groups_of([[0, 30], [12, 0]]))
    assert not withhold(counts, limit=LIMIT).any()


@pytest.mark.parametrize("seed", range(16))
def test_the_rule_holds_in_every_table_there_could_be(seed):
    draw = np.random.default_rng(seed)
    counts = counts_of(groups_of(draw.integers(0, 9, size=(2, 2 + seed % 2))))
    hidden = withhold(counts, limit=LIMIT)
    free = ~counts.matrix[~hidden].any(axis=0)
    if free.any():  # nothing bounds these people: any number of them could be there
        keep = ~free
        counts = Counts(counts.names, counts.aliases, counts.matrix[:, keep], counts.atoms[keep])
    solutions = every_solution(counts, hidden)
    for atom in np.flatnonzero(counts.atoms < LIMIT):
        assert solutions[:, atom].max() >= LIMIT
    if free.any():
        return
    for count in np.flatnonzero(small(counts)):
        values = solutions @ counts.matrix[count]
        assert possible(counts, hidden, counts.matrix[count]) == (values.min(), values.max())
        assert values.max() - values.min() + 1 >= LIMIT
    for count in np.flatnonzero(hidden):
        assert len(set(solutions @ counts.matrix[count])) > 1
