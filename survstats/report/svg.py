"""How does a drawing become an SVG that is safe inside a page: named, described, without style or script?"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Mapping, Sequence
from xml.sax.saxutils import escape, quoteattr

from survstats.report.content import Text

SVG = "http://www.w3.org/2000/svg"


def tag(name: str, attributes: Mapping[str, object], inside: str = "") -> str:
    """One element as markup; underscores in names become hyphens, numbers are rounded to hundredths."""
    written = "".join(
        f" {key.rstrip('_').replace('_', '-')}={quoteattr(number(value))}"
        for key, value in attributes.items()
    )
    return f"<{name}{written}>{inside}</{name}>" if inside else f"<{name}{written}/>"


def number(value: object) -> str:
    """A number in as few characters as its hundredths need; anything else as it is."""
    return f"{value:.2f}".rstrip("0").rstrip(".") if isinstance(value, float) else str(value)


def spans(text: Text) -> str:
    """A text as SVG, each number in a span that carries its id."""
    return "".join(
        f"<tspan data-number={quoteattr(piece.id)}>{escape(piece.text)}</tspan>"
        if piece.id
        else escape(piece.text)
        for piece in text
    )


def wrap(inside: str, width: float, height: float, *, key: str, title: str, description: str) -> str:
    """A whole SVG around drawn elements; ``title`` and ``description`` come first and name it for a screen reader."""
    names = f"<title id={quoteattr(key + '-title')}>{escape(title)}</title>"
    names += f"<desc id={quoteattr(key + '-desc')}>{escape(description)}</desc>"
    root = {
        "xmlns": SVG,
        "width": f"{number(width)}pt",
        "height": f"{number(height)}pt",
        "viewBox": f"0 0 {number(width)} {number(height)}",
        "role": "img",
        "aria-labelledby": f"{key}-title {key}-desc",
    }
    return tag("svg", root, names + inside)


def clean(drawn: str, texts: Sequence[Text]) -> str:
    """What matplotlib has drawn, as plain elements: presentation attributes only, numbers marked with their ids.

    Parameters
    ----------
    drawn : str
        The SVG as matplotlib writes it with ``svg.fonttype: none``.
    texts : sequence of Text
        The texts drawn; the group ``text-i`` holds the i-th.

    Returns
    -------
    str
        The elements inside the root, without metadata, style sheets and empty groups.
    """
    root = ET.fromstring(drawn)  # noqa: S314
    for element in root.iter():
        _move_style(element)
    for index, text in enumerate(texts):
        group = next(part for part in root.iter() if part.get("id") == f"text-{index}")
        letters = next(part for part in group.iter() if part.tag == f"{{{SVG}}}text")
        marked = ET.fromstring(f"<g xmlns='{SVG}'>{spans(text)}</g>")  # noqa: S314
        letters.text = marked.text
        letters.extend(marked)
    return "".join(_plain(child) for child in root if child.tag == f"{{{SVG}}}g")


def _move_style(element: ET.Element) -> None:
    """Turn a style attribute into presentation attributes (a strict content policy drops style attributes)."""
    for declaration in element.attrib.pop("style", "").split(";"):
        name, _, value = (part.strip() for part in declaration.partition(":"))
        if name == "font":
            found = re.fullmatch(r"(?:(\d+|normal|bold) )?([\d.]+)px (.+)", value)
            if not found:
                raise ValueError(f"font not understood: {value}")
            element.set("font-family", found[3].split(",")[0].strip("'\""))
            element.set("font-size", number(float(found[2])))
            element.set("font-weight", {"normal": "400", "bold": "700", None: "400"}.get(found[1], found[1]))
        elif name == "font-family":
            element.set(name, value.split(",")[0].strip("'\""))
        elif name:
            element.set(name, value.removesuffix("px") if name == "font-size" else value)


def _plain(element: ET.Element) -> str:
    """The element without name spaces and without groups that only carry an id."""
    name = element.tag.removeprefix(f"{{{SVG}}}")
    if name in {"metadata", "style", "defs"}:
        return ""
    inside = escape(element.text or "").strip("\n ") if name == "g" else escape(element.text or "")
    for child in element:
        inside += _plain(child) + (escape(child.tail or "") if name in {"text", "tspan"} else "")
    attributes = {key: _short(value) for key, value in element.attrib.items() if key != "id"}
    if name == "g" and not attributes:
        return inside
    return tag(name, attributes, inside) if inside or name != "g" else ""


def _short(value: str) -> str:
    """Path data and coordinates with two decimals instead of six, on one line."""
    return re.sub(r"-?\d+\.\d{3,}", lambda found: number(float(found[0])), " ".join(value.split()))
