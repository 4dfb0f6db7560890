"""Makes the pictures of the performer's pack beside this file: `python examples/pictures/make.py`. Needs Chromium, Playwright and
pdftoppm (poppler); takes half a minute, most of it for the sounds."""

import io
import shutil
import subprocess
import tempfile
from pathlib import Path

from PIL import Image
from playwright.sync_api import sync_playwright

from annotate.pack.prepare import INDEX, PART, SHEET, pack
from annotate.pipeline import Options, look

HERE = Path(__file__).parent
SCORE = HERE.parent / "performer/lantern-buoy.musicxml"
_BAR = 4  # its second multiphonic is shown


def saved(picture: Image.Image, name: str) -> None:
    """As a PNG of 200 colours."""
    picture.convert("RGB").quantize(200).save(HERE / name, optimize=True)


def paper(path: Path, name: str, share: float = 1.0) -> None:
    """The first page of a PDF, down to a share of its height."""
    command = ["pdftoppm", "-r", "100", "-l", "1", "-png", str(path)]
    page = Image.open(io.BytesIO(subprocess.run(command, check=True, capture_output=True).stdout))
    saved(page.crop((0, 0, page.width, round(page.height * share))), name)


def screen(folder: Path) -> None:
    """The page on a desk and on a phone."""
    chromium = shutil.which("chromium") or "chromium"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        for name, width, height, theme in (("page.png", 1280, 860, "light"), ("phone.png", 390, 780, "dark")):
            context = browser.new_context(viewport={"width": width, "height": height}, color_scheme=theme)
            page = context.new_page()
            page.goto((folder / INDEX).as_uri())
            notes = [one for one in page.query_selector_all(".music g[role=button]") if one.bounding_box()]
            chosen = next(one for one in notes if f"bar {_BAR}, beat 3" in (one.get_attribute("aria-label") or ""))
            chosen.focus()
            page.keyboard.press("Enter")
            page.wait_for_timeout(300)
            saved(Image.open(io.BytesIO(page.screenshot())), name)
            context.close()
        browser.close()


def main() -> None:
    """Make them."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for file, data in pack(look(SCORE, Options()), "a4").items():
            if "/" not in file:
                (folder / file).write_bytes(data)
        paper(folder / PART, "part.png", 0.62)
        paper(folder / SHEET, "practice.png", 0.85)
        screen(folder)


if __name__ == "__main__":
    main()
