"""Are the letters that are let through those that every face of the papers has?"""

from __future__ import annotations

from fontTools.ttLib import TTFont

from survstats.groundwork.letters import SET_LETTERS, letter_not_set
from survstats.report.style import FONT_FILES, FONTS


def test_they_are_those_of_the_font_files():
    faces = [set(TTFont(FONTS / f"{name}.ttf").getBestCmap()) for name in FONT_FILES.values()]
    told = {code for first, last in SET_LETTERS for code in range(first, last + 1)}
    assert told == set.intersection(*faces)


def test_the_first_letter_that_is_lacking_is_named():
    assert letter_not_set("łódź, Ärmelkanal, Πάρος, Север – “three” 30 €") is None
    assert letter_not_set("sea of 北海") == "北"
    assert letter_not_set("") is None
