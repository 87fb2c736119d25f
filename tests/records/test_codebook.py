import json
import re
from importlib import resources

import pytest

from survstats.groundwork.errors import CallError
from survstats.records.codebook import TABLES, TRI_STATE, load_codebook
from survstats.records.rules.rulebook import RULEBOOK

# Table Schema (specs.frictionlessdata.io/table-schema, from memory): types of fields that we use, and what may be
# said of them.
TYPES = {"string", "integer", "number", "date", "time"}
CONSTRAINTS = {"required", "enum", "minimum", "maximum"}
OURS = {"unit", "columnRequired", "openEnded", "roster", "limitRule"}
STANDARD = {"name", "type", "format", "description", "constraints", "missingValues"}


def test_every_field_has_a_meaning_and_a_name_of_its_own():
    book = load_codebook()
    for fields in map(book.table, TABLES):
        names = [field.name for field in fields]
        assert len(set(names)) == len(names)
        assert all(field.meaning.endswith(".") for field in fields)


@pytest.mark.parametrize(
    ("ending", "unit"),
    [("_s", "s"), ("_lo_s", "s"), ("_min", "min"), ("_m", "m"), ("_c", "degrees Celsius"), ("_kt", "kt")],
)
def test_a_number_whose_name_ends_in_a_unit_has_that_unit(ending, unit):
    book = load_codebook()
    chosen = [
        f
        for f in book.mishap + book.occupant + book.training_run
        if f.kind == "number" and f.name.endswith(ending)
    ]
    assert chosen
    assert {field.unit for field in chosen} == {unit}


def test_every_number_has_limits():
    book = load_codebook()
    numbers = [f for f in book.mishap + book.occupant + book.training_run if f.kind in ("integer", "number")]
    assert len(numbers) > 20
    assert [f.name for f in numbers if f.minimum is None or f.maximum is None] == []
    assert all(f.minimum < f.maximum for f in numbers)


def test_na_is_never_a_value_of_a_tri_state():
    book = load_codebook()
    tri_states = [f for f in book.mishap + book.occupant + book.training_run if f.kind == "tri_state"]
    assert len(tri_states) > 15
    assert all(f.values == TRI_STATE and f.missing == ("", "na") for f in tri_states)


def test_every_category_that_may_be_unknown_says_so_and_the_outcome_may_not():
    book = load_codebook()
    optional = [
        f for f in book.mishap + book.occupant + book.training_run if f.kind == "category" and not f.required
    ]
    assert all("unknown" in f.values for f in optional)
    assert book.field("occupant", "outcome").values == ("survived", "died", "missing_presumed_dead")


def test_a_field_there_is_none_of():
    with pytest.raises(CallError, match="no field shoe_size"):
        load_codebook().field("mishap", "shoe_size")


def test_it_is_an_open_data_package():
    """Checked once by hand with frictionless 5 (`frictionless validate`); here the parts it looks at."""
    text = resources.files("survstats.records").joinpath("codebook.json").read_text(encoding="utf-8")
    package = json.loads(text)
    assert re.fullmatch(r"[-a-z0-9._/]+", package["name"])
    assert [resource["name"] for resource in package["resources"]] == list(TABLES)
    for resource in package["resources"]:
        assert resource["path"] == f"{resource['name']}.csv"
        assert (resource["format"], resource["encoding"]) == ("csv", "utf-8")
        schema = resource["schema"]
        names = [field["name"] for field in schema["fields"]]
        assert set(schema["primaryKey"]) <= set(names)
        for key in schema.get("foreignKeys", []):
            assert key["fields"] in names  # a name alone, or a list of names
            assert key["reference"]["resource"] in TABLES
        for field in schema["fields"]:
            assert field["type"] in TYPES
            assert set(field) <= STANDARD | OURS, field["name"]
            assert set(field.get("constraints", {})) <= CONSTRAINTS
            described = package["description"]
            assert all(word in described for word in set(field) & (OURS - {"unit"}))


def test_every_limit_is_reported_by_a_rule_of_the_rulebook():
    book = load_codebook()
    assert {f.limit_rule for table in TABLES for f in book.table(table)} <= set(RULEBOOK)


def test_a_rule_is_told_in_few_plain_words():
    for id_, card in RULEBOOK.items():
        assert card.id == id_
        assert 0 < len(card.title) <= 60
        assert not re.search(r"[0-9_]", card.title), card.title
        assert card.remedy
    titles = [card.title for card in RULEBOOK.values()]
    assert len(set(titles)) == len(titles)


def test_what_may_be_let_stand():
    may = {id_ for id_, card in RULEBOOK.items() if card.acceptable}
    assert not may & {"R1", "R2", "T1", "R39", "R44", "R45", "M2", "M3", "M4"}
    assert not may & {f"R{number}" for number in range(12, 20)}, "they decide exposure, outcome, population"
    assert not may & {"R26", "R33", "R43"}, "so do these"
    assert not may & {"R38", "R40", "R41"}, "what they say must be read, whatever is accepted"
    assert not {id_ for id_ in may if id_.startswith("F")}
    assert {"M1", "R7", "R20", "R42", "T4"} <= may
