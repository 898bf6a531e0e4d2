"""Make the pictures of README and tutorial again: ``python docs/make_pictures.py [NAME ...]``.

They are taken by Debian's Chromium from what the commands write, scaled down and kept to few
colours. `PICTURES` maps each name to what makes it.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pypdfium2
from PIL import Image
from playwright.sync_api import sync_playwright

HERE = Path(__file__).resolve().parent
FOLDER = HERE / "pictures"
EXAMPLES = HERE / "examples"
WIDEST_PX = 1000
COLOURS = 20
PORT = 18642
Page = Any


def run(*words: str, cwd: Path) -> None:
    """A command of solarcalc."""
    subprocess.run([sys.executable, "-m", "solarcalc", *words], cwd=cwd, check=True,
                   env={**os.environ, "PYTHONPATH": str(HERE.parent)})  # fmt: skip


def mended(folder: Path) -> Path:
    """The site file at the end of the tutorial."""
    path = folder / "hill-street-shop.toml"
    path.write_text("".join((EXAMPLES / name).read_text(encoding="utf-8") for name in (
        "hill-street-shop.toml", "hill-street-shop-more.toml")), encoding="utf-8")
    return path


def reports(folder: Path) -> Path:
    """Documents of the tutorial's shop; made once."""
    out = folder / "reports" / "hill-street-shop"
    if not out.is_dir():
        run("report", str(mended(folder)), "--documents", "DS", "--out", "reports", cwd=folder)
    return out


def phone(page: Page, folder: Path) -> None:
    """The survey on a phone."""
    run("survey", str(EXAMPLES / "hill-street-shop.toml"), "--phone", "survey.html", cwd=folder)
    page.set_viewport_size({"width": 420, "height": 760})
    page.goto((folder / "survey.html").as_uri())


def first_page(page: Page, folder: Path) -> None:
    """The first page of a site."""
    page.set_viewport_size({"width": 1000, "height": 560})
    page.goto((reports(folder) / "index.html").as_uri())


def shop_sheet(page: Page, folder: Path) -> None:
    """The decision sheet of the tutorial's shop."""
    _first_sheet(reports(folder), folder)


def demo_sheet(page: Page, folder: Path) -> None:
    """The decision sheet of a demo site."""
    run("report", "coral-pharmacy", "--documents", "DS", "--out", "demo", cwd=folder)
    _first_sheet(folder / "demo" / "coral-street-pharmacy", folder)


def _first_sheet(made: Path, folder: Path) -> None:
    (path,) = made.glob("*-ds-*.pdf")
    pypdfium2.PdfDocument(path)[0].render(scale=1.6).to_pil().save(folder / "taken.png")


def workbook(page: Page, folder: Path) -> None:
    """A workbook in JupyterLab, after Run All."""
    run("workbooks", "--out", "lab", cwd=folder)
    server = subprocess.Popen(
        [sys.executable, "-m", "jupyter", "lab", "--no-browser", "--allow-root", "--ip=127.0.0.1",
         f"--port={PORT}", "--IdentityProvider.token=", "--ServerApp.disable_check_xsrf=True"],
        cwd=folder / "lab" / "workbooks", stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        env={**os.environ, "PYTHONPATH": str(HERE.parent), "HOME": str(folder)})  # fmt: skip
    try:
        page.set_viewport_size({"width": 1280, "height": 900})
        for _ in range(60):
            try:
                page.goto(f"http://127.0.0.1:{PORT}/lab/tree/orientation.ipynb?reset")
                break
            except Exception:  # not yet listening
                time.sleep(0.5)
        page.wait_for_selector(".jp-Notebook .jp-Cell", timeout=60_000)
        time.sleep(3.0)
        page.keyboard.press("Control+B")
        page.get_by_text("Run", exact=True).first.click()
        page.get_by_text("Run All Cells", exact=True).click()
        page.wait_for_function(
            "document.querySelectorAll('.jp-Notebook img, .jp-Notebook svg.solarcalc').length > 0",
            timeout=120_000)
        page.get_by_text("Python 3 (ipykernel) | Idle").wait_for(timeout=120_000)
        page.locator(".noUi-target").first.wait_for(timeout=60_000)
        for _ in range(3):  # cells above it are still growing
            time.sleep(1.5)
            page.get_by_role("heading", name="Try it").evaluate(
                "one => one.scrollIntoView({block: 'start'})")
        if (no := page.get_by_text("No", exact=True)).count():
            no.first.click()
        time.sleep(1.5)
    finally:
        picture = page.screenshot(path=str(folder / "taken.png"))
        assert picture
        server.terminate()
        server.wait()


PICTURES: dict[str, Callable[[Page, Path], None]] = {
    "decision-sheet": demo_sheet, "shop-sheet": shop_sheet, "phone": phone,
    "site-page": first_page, "workbook": workbook,
}


def main(names: list[str]) -> None:
    """Make the pictures of those names, or all of them."""
    with tempfile.TemporaryDirectory() as place, sync_playwright() as running:
        browser = running.chromium.launch(executable_path="/usr/bin/chromium",
                                          args=["--no-sandbox"])  # fmt: skip
        for name in names or PICTURES:
            page = browser.new_page(device_scale_factor=1.5)
            taken = Path(place) / "taken.png"
            taken.unlink(missing_ok=True)
            PICTURES[name](page, Path(place))
            if not taken.is_file():
                page.screenshot(path=str(taken))
            page.close()
            image = Image.open(taken).convert("RGB")
            if image.width > WIDEST_PX:
                size = (WIDEST_PX, round(image.height * WIDEST_PX / image.width))
                image = image.resize(size, Image.Resampling.LANCZOS)
            kept = FOLDER / f"{name}.png"
            image.quantize(COLOURS, dither=Image.Dither.NONE).save(kept, optimize=True)
            size_kb = kept.stat().st_size / 1000.0
            print(f"{kept.name}: {image.width} x {image.height}, {size_kb:.0f} kB")
        browser.close()


if __name__ == "__main__":
    main(sys.argv[1:])
