"""Writes the published papers in reports/ again, and their pictures.

Usage: python tests/report/rebuild.py [YYYY-MM-DD]. Pictures need pdftoppm, Chromium and its driver.
"""

from __future__ import annotations

import datetime
import io
import subprocess
import sys
import tempfile
from pathlib import Path

import matplotlib.image
import numpy as np

import survstats as sv

ROOT = Path(__file__).resolve().parents[2]
REPORTS = ROOT / "reports"
PUBLISHED = ("demo_main", "demo_null", "demo_survivor_only", "demo_separation")
PHONE, DESK = 320, 1000
FIRST_LOOK, TALLEST = 1250, 6000


def main(day: datetime.date) -> None:
    """Run the published studies and write their papers, then the pictures of the first."""
    now = datetime.datetime(day.year, day.month, day.day, 12, tzinfo=datetime.UTC)
    for name in PUBLISHED:
        sv.publish(sv.run(sv.read_study(sv.demo_folder(name))), REPORTS / name, now=now)
    pictures = REPORTS / "pictures"
    pictures.mkdir(exist_ok=True)
    for name, short in zip(PUBLISHED, ("", "-null", "-survivor-only", "-separation"), strict=True):
        for page in (1, 2):
            save(pdf_page(REPORTS / name / "brief.pdf", page), pictures / f"page{page}{short}.png")
    first = pdf_page(REPORTS / "demo_main" / "brief.pdf", 1)
    save(
        np.repeat((first[..., :3] @ [0.299, 0.587, 0.114])[..., None], 3, axis=2), pictures / "page1-grey.png"
    )
    for page in (1, 2):
        save(pdf_page(REPORTS / "demo_main" / "records.pdf", page), pictures / f"records{page}.png")
    for page in (3, 5, 8):
        save(pdf_page(REPORTS / "demo_main" / "annex.pdf", page), pictures / f"annex{page}.png")
    for paper, name in (("brief", "phone"), ("records", "records-phone"), ("annex", "annex-phone")):
        save(screen_page(REPORTS / "demo_main" / f"{paper}.html", PHONE), pictures / f"{name}.png")
    for name, short in (("demo_main", ""), ("demo_separation", "-separation")):
        save(pdf_page(REPORTS / name / "budget.pdf", 1), pictures / f"budget1{short}.png")
    sheet = screen_page(REPORTS / "demo_separation" / "worksheet.html", DESK)
    save(sheet[:FIRST_LOOK], pictures / "worksheet.png")


def pdf_page(path: Path, page: int) -> np.ndarray:
    """One page as an array (height, width, 3) in [0, 1]."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "page"
        command = ["pdftoppm", "-r", "88", "-png", "-singlefile", "-f", str(page), "-l", str(page), path, out]
        subprocess.run(command, check=True)
        return matplotlib.image.imread(out.with_suffix(".png"))[..., :3]


def screen_page(path: Path, width: int) -> np.ndarray:
    """The whole HTML page as a screen of so many pixels shows it."""
    from selenium import webdriver

    options = webdriver.ChromeOptions()
    for flag in ("--headless=new", "--no-sandbox", "--disable-dev-shm-usage", "--hide-scrollbars"):
        options.add_argument(flag)
    browser = webdriver.Chrome(options=options, service=webdriver.ChromeService("/usr/bin/chromedriver"))
    try:
        size = {"width": width, "height": 800, "deviceScaleFactor": 1, "mobile": width == PHONE}
        browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
        browser.get(path.as_uri())
        height = min(browser.execute_script("return document.documentElement.scrollHeight"), TALLEST)
        browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", {**size, "height": height})
        return matplotlib.image.imread(io.BytesIO(browser.get_screenshot_as_png()))[..., :3]
    finally:
        browser.quit()


def save(picture: np.ndarray, path: Path) -> None:
    """A PNG of few colours, which keeps pages of text small."""
    from PIL import Image

    image = Image.fromarray((picture * 255).round().astype("uint8"))
    image.quantize(48, dither=Image.Dither.NONE).save(path, optimize=True)
    print(path.relative_to(ROOT), path.stat().st_size)


if __name__ == "__main__":
    main(datetime.date.fromisoformat(sys.argv[1]) if len(sys.argv) > 1 else datetime.date.today())
