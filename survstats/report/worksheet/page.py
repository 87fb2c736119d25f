"""How does the worksheet become one file that works by itself?

Its script stands in the page and is named by its hash in the content policy, which allows no other and no connection.
"""

from __future__ import annotations

import datetime
import json

from markupsafe import Markup

from survstats.groundwork.cells import inert_json
from survstats.report.marks import window
from survstats.report.publish import policy_hash, style_sheet, templates
from survstats.report.style import PALETTES, TEMPLATES
from survstats.report.worksheet.content import WorksheetContent
from survstats.report.worksheet.paper import worksheet_content
from survstats.study.results import StudyResults

SCRIPTS = ("worksheet_engine.js", "worksheet_page.js")


def worksheet_html(results: StudyResults, *, date: datetime.date) -> str | None:
    """The worksheet of a study as one HTML file; None where nothing was drawn that it could try figures on.

    Parameters
    ----------
    results : StudyResults
    date : date
        The day printed on the page.
    """
    content = worksheet_content(results, date=date)
    return None if content is None else render_worksheet(content)


def render_worksheet(content: WorksheetContent) -> str:
    """The page: fonts, style sheet, script and drawn worlds inside."""
    style = style_sheet() + (TEMPLATES / "worksheet.css").read_text(encoding="utf-8")
    script = "\n".join((TEMPLATES / name).read_text(encoding="utf-8") for name in SCRIPTS)
    given = inert_json(
        json.dumps(content.payload, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    )
    return (
        templates()
        .get_template("worksheet.html.jinja")
        .render(
            c=content,
            style=Markup(style),  # noqa: S704  (our own template)
            style_hash=policy_hash(style),
            script=Markup(script),  # noqa: S704  (our own script)
            script_policy=Markup(f" script-src '{policy_hash(script)}';"),  # noqa: S704  (a hash)
            given=Markup(without_markup(given)),  # noqa: S704  (no sign of markup is left in it)
            marks={"window": Markup(window(content.hidden, PALETTES["tone"]))},  # noqa: S704
        )
    )


def without_markup(text: str) -> str:
    """JSON whose texts hold no sign that a browser could take for markup; its values do not change."""
    for sign in "<>&":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text
