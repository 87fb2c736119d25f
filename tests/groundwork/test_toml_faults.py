from __future__ import annotations

import pytest
from pydantic import BaseModel, ConfigDict, ValidationError

from survstats.groundwork.errors import StudyFileError
from survstats.groundwork.toml_faults import first_fault, line_of, read_toml, short


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)


class Accepted(_Strict):
    rule: str


class Table(_Strict):
    file: str
    codes: dict[str, str] = {}


class Plan(_Strict):
    title: str
    accepted: list[Accepted] = []
    mishap: Table | None = None
    cabins: dict[str, Table] = {}


TEXT = """title = "x"
[[accepted]]
rule = "R3"
[[accepted]]
rule = "R5"
[mishap]
file = "a.csv"
codes = { "St. John's" = "one" }
[cabins."S-92.A"]
file = "b.csv"
"""


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("title",), 1),
        (("accepted", 0, "rule"), 3),
        (("accepted", 1, "rule"), 5),
        (("accepted", 1), 4),
        (("accepted",), 2),
        (("mishap", "file"), 7),
        (("mishap", "codes", "St. John's"), 8),
        (("mishap", "sheet"), 6),
        (("cabins", "S-92.A", "file"), 10),
        (("nothing",), 0),
    ],
)
def test_the_line_of_a_key(path, line):
    assert line_of(path, TEXT) == line


def _fault(text: str) -> StudyFileError:
    content, read = read_toml(text.encode(), file="plan.toml")
    with pytest.raises(ValidationError) as refused:
        Plan.model_validate(content)
    return first_fault(refused.value, read, file="plan.toml", model=Plan)


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ('title = "x"\n[mishap]\nfile = "a"\nfiel = "b"\n', 4, "Did you mean 'file'?"),
        ('title = "x"\n[cabins.A]\nfile = "a"\nzzz = "b"\n', 4, "Known here: file, codes."),
        (
            'title = "x"\n[[accepted]]\nrule = "R3"\n[[accepted]]\nrul = "R3"\nrule = "R4"\n',
            5,
            "Did you mean 'rule'?",
        ),
        ("title = 3\n", 1, 'Write text in "quotes".'),
        ('title = "x"\nmishap = "a.csv"\n', 2, "Write a [section] with keys under it."),
        ('title = "x"\n[mishap]\ncodes = { D = 1 }\nfile = "a"\n', 3, 'Write text in "quotes".'),
        ("\n[mishap]\nfile = 3\n", 3, "(1 more in this file.)"),  # what is missing may only be misspelt
        ('\n[mishap]\nfile = "a"\n', None, "the key 'title' is missing. Add it"),
    ],
)
def test_the_first_fault_says_what_to_write(text, line, words):
    fault = _fault(text)
    assert fault.line == line
    assert words in str(fault)


@pytest.mark.parametrize(
    ("raw", "reason", "line"),
    [
        (b"a = 1\nb = = 2\n", "not_toml", 2),
        (b"\xff\xfe\x00", "not_text", None),
        (b"a = " + b"[" * 5000, "not_toml", 1),
    ],
)
def test_what_is_no_toml_is_refused(raw, reason, line):
    with pytest.raises(StudyFileError) as fault:
        read_toml(raw, file="plan.toml")
    assert (fault.value.reason, fault.value.line) == (reason, line)


def test_text_for_a_sentence_is_short_and_printable():
    assert short("a\x1b[31m" + "b" * 80) == "a\N{REPLACEMENT CHARACTER}[31m" + "b" * 54 + " ..."
