"""A browser that opens the page from the disk; without one these tests are skipped."""

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.browser.pages import write_small_page

CHROMIUM = ("/usr/bin/chromium", "chromium", "chromium-browser", "google-chrome")


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """Chromium without a window, driven by playwright."""
    api = pytest.importorskip("playwright.sync_api", reason="playwright isn't installed")
    path = next((found for name in CHROMIUM if (found := shutil.which(name))), None)
    if path is None:
        pytest.skip("no chromium on this machine")
    with api.sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield running
        running.close()


@pytest.fixture(scope="session")
def page_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page of a small plan with hostile texts in its records."""
    return write_small_page(tmp_path_factory.mktemp("page") / "page.html")


class Opened:
    """A page in the browser, and what it did that it shouldn't: requests, messages on the console, errors."""

    def __init__(self, browser: Any, path: Path) -> None:
        self.page = browser.new_page(viewport={"width": 1400, "height": 900})
        self.requests: list[str] = []
        self.messages: list[str] = []
        self.page.on("request", lambda request: self.requests.append(request.url))
        self.page.on("console", lambda message: self._note(message.type, message.text))
        self.page.on("pageerror", lambda error: self._note("error", str(error)))
        self.page.on("dialog", lambda dialog: self._note("error", f"dialog: {dialog.message}"))
        self.page.goto(path.as_uri())
        self.page.wait_for_selector("body[data-ready=yes]", timeout=60_000)

    def _note(self, kind: str, text: str) -> None:
        if kind in ("error", "warning"):
            self.messages.append(text)

    def choose(self, **what: Any) -> None:
        """Choose as a click would, by the names of hook-up and line, and wait until it is drawn."""
        self.page.evaluate(
            """async (what) => {
                const page = corridorPage;
                const { facts } = page;
                if (what.hookup) what.hookup = facts.hookups[facts.hookupAt.get(what.hookup)];
                if (what.line) what.line = facts.lineAt.get(what.line);
                await page.choose(what);
            }""",
            what,
        )

    def source(self, name: str) -> dict[str, Any]:
        """The data that one layer of the map draws."""
        script = "(name) => JSON.parse(JSON.stringify(corridorPage.map.source(name).data))"
        return dict(self.page.evaluate(script, name))

    def screen(self, x_m: float, y_m: float) -> tuple[float, float]:
        """Where a place of the site stands on the screen."""
        box = self.page.locator("#map").bounding_box()
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        self.page.mouse.move(x + 5, y + 5)
        self.page.mouse.move(x, y)
        self.page.wait_for_function("() => corridorPage.place")
        (here_x, here_y), scale = self.page.evaluate("[corridorPage.place, corridorPage.map.metresPerPixel]")
        return x + (x_m - here_x) / scale, y - (y_m - here_y) / scale

    @property
    def said(self) -> str:
        """What a screen reader was told last."""
        return str(self.page.inner_text("#said"))

    def note_start(self) -> None:
        """Keep what is chosen now, for `back_to_start`."""
        self.page.evaluate(
            """() => {
                const { hookup, frequency, line, colouring, tab, map } = corridorPage;
                const seen = [map.x.start, map.x.end, map.y.start, map.y.end];
                window.atStart = { chosen: { hookup, frequency, line, colouring, tab }, seen };
            }"""
        )

    def back_to_start(self) -> None:
        """Choose again what was chosen when the page had opened, over the same part of the map."""
        self.page.mouse.move(1, 1)
        self.page.evaluate(
            """async () => {
                const { map } = corridorPage;
                [map.x.start, map.x.end, map.y.start, map.y.end] = window.atStart.seen;
                await corridorPage.choose(window.atStart.chosen);
            }"""
        )


@pytest.fixture(scope="module")
def shared(browser: Any, page_file: Path) -> Iterator[Opened]:
    """The small page, opened once: opening it takes longer than what most tests do on it."""
    tab = Opened(browser, page_file)
    tab.note_start()
    yield tab
    tab.page.close()
    assert tab.requests == [page_file.as_uri()]


@pytest.fixture
def opened(shared: Opened) -> Iterator[Opened]:
    """The small page as it was when it had opened, for what `choose` can undo; at the end nothing complained."""
    shared.back_to_start()
    yield shared
    assert shared.messages == []


@pytest.fixture
def fresh(browser: Any, page_file: Path) -> Iterator[Opened]:
    """The small page in a tab of its own; at the end nothing was asked of anybody and nothing complained."""
    tab = Opened(browser, page_file)
    yield tab
    tab.page.close()
    assert tab.requests == [page_file.as_uri()]
    assert tab.messages == []
