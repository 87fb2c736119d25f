"""Does every fault carry a reason, a sentence, a remedy and its exit code?"""

from __future__ import annotations

import pytest

from survstats.groundwork import errors


@pytest.mark.parametrize(
    ("kind", "code"),
    [
        (errors.RecordsError, 1),
        (errors.CallError, 2),
        (errors.StudyFileError, 2),
        (errors.PublishError, 3),
        (errors.NotEstimable, 70),
    ],
)
def test_exit_codes_and_sentences(kind, code):
    fault = kind("some_reason", "Something is wrong.", "Do this.")
    assert isinstance(fault, errors.SurvstatsError)
    assert (fault.exit_code, fault.reason) == (code, "some_reason")
    assert str(fault) == "Something is wrong. Do this."
    assert str(kind("some_reason", "Something is wrong.")) == "Something is wrong."


def test_the_line_of_a_study_file_is_kept():
    assert errors.StudyFileError("r", "p", line=7).line == 7
    assert errors.StudyFileError("r", "p").line is None
