import pytest

from survstats.groundwork.errors import CallError
from survstats.records.codebook import TRI_STATE, load_codebook


def test_every_field_has_a_meaning_and_a_name_of_its_own():
    book = load_codebook()
    for fields in (book.mishap, book.occupant):
        names = [field.name for field in fields]
        assert len(set(names)) == len(names)
        assert all(field.meaning.endswith(".") for field in fields)


@pytest.mark.parametrize(
    ("ending", "unit"),
    [("_s", "s"), ("_lo_s", "s"), ("_min", "min"), ("_m", "m"), ("_c", "degrees Celsius"), ("_kt", "kt")],
)
def test_a_number_whose_name_ends_in_a_unit_has_that_unit(ending, unit):
    book = load_codebook()
    chosen = [f for f in book.mishap + book.occupant if f.kind == "number" and f.name.endswith(ending)]
    assert chosen
    assert {field.unit for field in chosen} == {unit}


def test_every_number_has_limits():
    book = load_codebook()
    numbers = [f for f in book.mishap + book.occupant if f.kind in ("integer", "number")]
    assert len(numbers) > 20
    assert [f.name for f in numbers if f.minimum is None or f.maximum is None] == []
    assert all(f.minimum < f.maximum for f in numbers)


def test_na_is_never_a_value_of_a_tri_state():
    book = load_codebook()
    tri_states = [f for f in book.mishap + book.occupant if f.kind == "tri_state"]
    assert len(tri_states) > 15
    assert all(f.values == TRI_STATE and f.missing == ("", "na") for f in tri_states)


def test_every_category_that_may_be_unknown_says_so_and_the_outcome_may_not():
    book = load_codebook()
    optional = [f for f in book.mishap + book.occupant if f.kind == "category" and not f.required]
    assert all("unknown" in f.values for f in optional)
    assert book.field("occupant", "outcome").values == ("survived", "died", "missing_presumed_dead")


def test_a_field_there_is_none_of():
    with pytest.raises(CallError, match="no field shoe_size"):
        load_codebook().field("mishap", "shoe_size")
