"""Is the word found that was meant, and is nothing invisible left in a text?"""

from __future__ import annotations

from survstats.groundwork.words import MONTHS, code_point, did_you_mean, nearest, visible


def test_the_word_that_was_meant() -> None:
    assert nearest("survved", ["died", "survived"]) == "survived"
    assert nearest("survved", ["died", "survived"], likeness=0.99) is None
    assert did_you_mean("sede", ["seed", "draws"], otherwise="Known: ...") == "Did you mean 'seed'?"
    assert did_you_mean("xyz", ["seed", "draws"], otherwise="Known: ...") == "Known: ..."


def test_what_cannot_be_seen_is_told() -> None:
    text = "a\u202eb\x1b"
    assert visible(text) == "a\ufffdb\ufffd"
    assert visible(text, instead="?") == "a?b?"
    assert visible(text, instead=code_point) == "a[U+202E]b[U+001B]"


def test_twelve_months() -> None:
    assert len({name[:3] for name in MONTHS}) == 12
