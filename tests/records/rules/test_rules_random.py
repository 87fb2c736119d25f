"""Whatever valid rows say, the rules come to an end, and their findings can be told."""

import datetime

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from survstats.records.checking import check_records
from survstats.records.codebook import load_codebook
from survstats.records.finding import findings_frame, sentence
from survstats.records.loading import typed_records
from survstats.records.reading.tables import TextTable
from survstats.records.rules.rulebook import RULEBOOK

import pandas as pd  # isort: skip

# Keys that do not hold, what decides exposure, outcome or population, and records that seem to know who lived.
STAYS = {
    *("R1", "R2", "T1"),
    *("R12", "R13", "R14", "R15", "R16", "R17", "R18", "R19", "R26", "R33", "R43"),
    *("R38", "R40", "R41"),
}
TODAY = datetime.date(2026, 11, 25)
KEYS = {
    "mishap_id": st.sampled_from(["M1", "M2", "M3"]),
    "occupant_id": st.sampled_from(["1", "2", "3", "4"]),
    "person_code": st.sampled_from(["T1", "T2"]),
    "aircraft_class": st.sampled_from(["A", "B"]),
}


def texts(field):
    """What may stand in a cell of this field."""
    if field.name in KEYS:
        return KEYS[field.name]
    tokens = st.sampled_from(field.missing) if field.missing else st.nothing()
    if field.kind in ("tri_state", "category"):
        return st.sampled_from(field.values) | tokens
    if field.kind in ("integer", "number"):
        low, high = int(field.minimum) + 1, int(field.maximum)
        ends = st.just("inf") if field.open_ended else st.nothing()
        return (
            st.integers(low, min(high, low + 60)).map(str) | st.integers(low, high).map(str) | tokens | ends
        )
    if field.kind == "date":
        return st.dates(datetime.date(1990, 1, 1), TODAY).map(str) | tokens
    if field.kind == "time":
        return st.just("12:30") | tokens
    return st.sampled_from(["x", "y"]) | tokens


def rows(table, most):
    fields = load_codebook().table(table)
    row = st.fixed_dictionaries({field.name: texts(field) for field in fields})
    return st.lists(row, min_size=1, max_size=most)


def table(name, lines):
    cells = pd.DataFrame(lines, dtype=object)
    return TextTable(f"{name}.csv", "", cells, tuple(range(2, len(lines) + 2)))


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
@given(rows("mishap", 3), rows("occupant", 6), rows("training_run", 3))
def test_valid_rows_never_raise(mishaps, people, runs):
    lines = {"mishap": mishaps, "occupant": people, "training_run": runs}
    records = typed_records({name: table(name, rows_of) for name, rows_of in lines.items()})
    found = check_records(records, today=TODAY, cabins={"A": 2})
    assert not [f for f in records.findings if f.severity == "error"]
    assert {"R39", "R44", "R45"} <= {f.rule for f in found}
    for finding in found:
        assert finding.rule in RULEBOOK
        assert sentence(finding).endswith(".")
        if finding.row is not None:
            assert 2 <= finding.row < 2 + len(lines[finding.file.removesuffix(".csv")])
    assert len(findings_frame(found)) == len(found)
    allowed = {id_: f"because {id_}" for id_ in {f.rule for f in found} if RULEBOOK[id_].acceptable}
    left = check_records(records, today=TODAY, cabins={"A": 2}, accepted=allowed)
    assert len(left) == len(found)
    assert {f.rule for f in left if f.severity in ("error", "warning")} <= STAYS
