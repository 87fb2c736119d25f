"""Cut the committed font files from the full ones: `python tests/fonts/make_fonts.py SOURCE_FOLDER TARGET_FOLDER`.

SOURCE_FOLDER holds the Debian files of fonts-vollkorn and fonts-clear-sans (any depth). The files that come out are the
same, byte for byte, on every run with the same fontTools.
"""

from __future__ import annotations

import sys
from pathlib import Path

from fontTools.subset import Options, Subsetter
from fontTools.ttLib import TTFont

FACES = {
    "Vollkorn-Regular": ("Vollkorn", "Regular"),
    "Vollkorn-SemiBold": ("Vollkorn", "SemiBold"),
    "ClearSans-Regular": ("Clear Sans", "Regular"),
    "ClearSans-Medium": ("Clear Sans", "Medium"),
    "ClearSans-Bold": ("Clear Sans", "Bold"),
}
LATIN = [(0x20, 0x7E), (0xA0, 0x17F), (0x192, 0x192), (0x218, 0x21B), (0x2C6, 0x2DD), (0x2009, 0x2026)]
LATIN += [(0x202F, 0x203A), (0x2044, 0x2044), (0x20AC, 0x20AC), (0x2116, 0x2122), (0x2190, 0x2193)]
LATIN += [(0x2212, 0x2212), (0x2248, 0x2248), (0x2260, 0x2265)]
PRINT = [*LATIN, (0x300, 0x36F), (0x370, 0x3FF), (0x400, 0x45F), (0x490, 0x491), (0x1E80, 0x1EF9)]
STAND_INS = {0x2009: 0x20, 0x202F: 0xA0, 0x2011: 0x2D}  # thin and narrow spaces, no-break hyphen


def bake_lining_figures(font: TTFont) -> None:
    """Make the lining figures the default ones, so that figures and text agree in every renderer."""
    if "GSUB" not in font:
        return
    table = font["GSUB"].table
    swaps: dict[str, str] = {}
    for record in table.FeatureList.FeatureRecord:
        if record.FeatureTag == "lnum":
            for index in record.Feature.LookupListIndex:
                for part in table.LookupList.Lookup[index].SubTable:
                    swaps.update(getattr(getattr(part, "ExtSubTable", part), "mapping", {}))
    for cmap in font["cmap"].tables:
        for code in range(ord("0"), ord("9") + 1):
            if code in cmap.cmap:
                cmap.cmap[code] = swaps.get(cmap.cmap[code], cmap.cmap[code])


def lend_missing(font: TTFont) -> None:
    for cmap in font["cmap"].tables:
        if cmap.isUnicode():
            for wanted, lender in STAND_INS.items():
                cmap.cmap.setdefault(wanted, cmap.cmap[lender])


def rename(font: TTFont, family: str, style: str) -> None:
    """One family name for all weights (the full Clear Sans Medium calls itself a family of its own)."""
    names = font["name"]
    for number, value in ((16, family), (17, style)):
        names.setName(value, number, 3, 1, 0x409)


def cut(
    source: Path, target: Path, ranges: list[tuple[int, int]], family: str, style: str, flavor: str | None
) -> None:
    font = TTFont(source, recalcTimestamp=False)
    bake_lining_figures(font)
    lend_missing(font)
    rename(font, family, style)
    options = Options(
        layout_features=["kern", "liga", "ccmp", "locl", "mark", "mkmk"],
        hinting=False,
        notdef_outline=True,
        name_IDs=[0, 1, 2, 3, 4, 5, 6, 13, 14, 16, 17],
        drop_tables=["DSIG", "FFTM", "meta"],
    )
    subsetter = Subsetter(options)
    subsetter.populate(unicodes=[code for low, high in ranges for code in range(low, high + 1)])
    subsetter.subset(font)
    font.flavor = flavor
    font.save(target)


def main(source: Path, target: Path) -> None:
    for stem, (family, style) in FACES.items():
        full = next(source.rglob(f"{stem}.ttf"))
        cut(full, target / f"{stem}.ttf", PRINT, family, style, None)
        cut(full, target / f"{stem}.woff2", LATIN, family, style, "woff2")


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
