"""The page in a browser: it opens by itself, is clicked, filtered, played, printed; Debian's Chromium through Playwright."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

pytestmark = pytest.mark.slow
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or ""
WIDTHS = (390, 820, 1440)


def _axe() -> Path | None:
    named = os.environ.get("VENTWISE_AXE", "")
    webmscore = os.environ.get("VENTWISE_WEBMSCORE", "")
    places = [Path(named)] if named else []
    places += [Path(webmscore).parent / "axe-core"] if webmscore else []
    places += [each / "node_modules/axe-core" for each in Path(__file__).parents]
    return next((place / "axe.min.js" for place in places if (place / "axe.min.js").exists()), None)


AXE = _axe()


class Seen:
    """A page and all that went wrong on it."""

    def __init__(self, page: Any, folder: Path) -> None:
        self.page, self.complaints = page, []
        page.on("console", lambda message: self.complaints.append(f"{message.type}: {message.text}"))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("dialog", lambda dialog: self.complaints.append(f"dialog: {dialog.message}"))
        page.on("request", self._requested)
        page.goto((folder / "index.html").as_uri())

    def _requested(self, request: Any) -> None:
        if not (request.url.startswith("data:") or request.url.endswith("/index.html")):
            self.complaints.append(f"request: {request.url}")

    def buttons(self) -> list[Any]:
        """Notes that can be chosen, as far as this width shows them."""
        return [one for one in self.page.query_selector_all(".music g[role=button]") if one.bounding_box()]


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    sync_api = pytest.importorskip("playwright.sync_api", reason="the Python package playwright is not installed")
    if not CHROMIUM:
        pytest.skip("Chromium is not installed")
    with sync_api.sync_playwright() as playwright:
        found = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield found
        found.close()


@pytest.fixture(params=WIDTHS)
def seen(browser: Any, folder: Path, request: pytest.FixtureRequest) -> Iterator[Seen]:
    scheme = "dark" if request.param == 820 else "light"
    context = browser.new_context(viewport={"width": request.param, "height": 800}, color_scheme=scheme)
    yield Seen(context.new_page(), folder)
    context.close()


def test_the_page_is_clicked_switched_played_and_printed_without_a_complaint(seen: Seen) -> None:
    page = seen.page
    wide = "[document.documentElement.scrollWidth, innerWidth]"
    assert page.evaluate("document.documentElement.dataset.ready") == "yes"
    assert page.evaluate(wide)[0] <= page.evaluate(wide)[1]
    buttons = seen.buttons()
    assert len(buttons) == 4
    buttons[0].focus()
    page.keyboard.press("Enter")
    assert page.is_visible("#panel") and "C5\xa0&\xa0D6" in page.inner_text("#panel .where")
    assert page.evaluate("document.activeElement.className") == "where"
    assert page.evaluate(wide)[0] <= page.evaluate(wide)[1]
    page.click("#panel [data-play]")
    assert page.evaluate("document.documentElement.dataset.played") == "1"
    page.keyboard.press("ArrowRight")
    assert "B4\xa0&\xa0C♯6" in page.inner_text("#panel .where")
    page.keyboard.press("Escape")
    assert page.is_hidden("#panel")
    if not page.is_visible("#flute"):  # folded away on a narrow screen
        page.click("#fold > summary")
    above = "[...document.querySelectorAll('.vw-room use')].map((use) => use.getAttribute('href'))"
    first = page.evaluate(above)
    page.select_option("#flute", "alto")
    assert len(page.evaluate(above)) == len(first) and page.evaluate(above) != first
    assert page.inner_text(".cards .card:not([hidden]) .answer:not([hidden]) .status").endswith("alto")
    page.select_option("#flute", "open-hole-b")
    assert page.evaluate(above) == first
    page.uncheck("input[value=unplayable]")
    assert page.locator(".cards .card[hidden]").count() > 0
    before = page.evaluate("getComputedStyle(document.documentElement).backgroundColor")
    page.click("#theme")
    assert page.evaluate("getComputedStyle(document.documentElement).backgroundColor") != before
    assert len(page.pdf()) > 1000
    assert seen.complaints == []


def test_a_complaint_would_be_seen(seen: Seen) -> None:
    """The control: a script that is not ours is refused by the page's own policy, and the refusal is a complaint."""
    seen.page.evaluate(
        "document.body.appendChild(Object.assign(document.createElement('script'), {textContent: 'alert(3)'}))"
    )
    assert any("Content Security Policy" in one for one in seen.complaints)


@pytest.mark.skipif(AXE is None, reason="the npm package axe-core is not installed (VENTWISE_AXE names its folder)")
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_axe_finds_no_serious_fault(browser: Any, folder: Path, theme: str) -> None:
    context = browser.new_context(viewport={"width": 1440, "height": 900}, color_scheme=theme, bypass_csp=True)
    seen = Seen(context.new_page(), folder)
    seen.buttons()[0].focus()
    seen.page.keyboard.press("Enter")
    assert AXE is not None
    seen.page.evaluate(AXE.read_text(encoding="utf-8"))
    found = seen.page.evaluate("axe.run()")
    bad = [one for one in found["violations"] if one["impact"] in ("serious", "critical")]
    assert [(one["id"], one["nodes"][0]["html"][:200]) for one in bad] == []
    assert len(found["passes"]) > 10
    context.close()
