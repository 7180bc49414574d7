"""The what-if page: how long it takes to write, to load in a browser, and to redraw after a change."""

import shutil
from pathlib import Path
from statistics import median
from typing import Any

import pytest
from made_up_page import made_up_review

from corridor.report.page import write_page
from corridor.report.receipt import make_receipt

SECTIONS, HOOKUPS = 10_000, 200
CHANGES = 40

# a change counts from the call to the frame painted after it
_HOOKUPS = """async (count) => {
    const page = corridorPage;
    const open = page.facts.hookups.filter((one) => page.facts.selectable(one));
    const times = [];
    for (let k = 0; k < count; k += 1) {
        const begun = performance.now();
        await page.choose({ hookup: open[(7 * k + 3) % open.length] });
        times.push(performance.now() - begun);
        await new Promise((done) => setTimeout(done, 100));
    }
    return times;
}"""
_FREQUENCIES = """async (count) => {
    const page = corridorPage;
    const { window } = page.hookup.block;
    const open = window.frequencies_hz.filter((one) => !window.barredWhy.has(`${page.hookup.hookup_id}|${one}`));
    const times = [];
    for (let k = 0; k < count; k += 1) {
        const begun = performance.now();
        await page.choose({ frequency: open[k % open.length] });
        times.push(performance.now() - begun);
        await new Promise((done) => setTimeout(done, 100));
    }
    return times;
}"""


def bench_page(benchmark: Any, tmp_path: Path, request: pytest.FixtureRequest) -> None:
    given = request.config.getoption("--page")
    path = Path(given).resolve() if given else tmp_path / "page.html"
    if given:
        benchmark.pedantic(path.read_bytes, rounds=1)
    else:
        review = made_up_review(SECTIONS, HOOKUPS)
        receipt = make_receipt(
            review.site, command="review", settings=review.settings, equipment=review.equipment
        )  # fmt: skip
        benchmark.pedantic(write_page, args=(review, path), kwargs={"receipt": receipt}, rounds=1)
    benchmark.extra_info["size_mb"] = round(path.stat().st_size / 1e6, 2)
    benchmark.extra_info.update(measured(path))


def measured(path: Path) -> dict[str, float]:
    """Return what the browser takes, ms."""
    api = pytest.importorskip("playwright.sync_api")
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        pytest.skip("no chromium on this machine")
    with api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 1500, "height": 950})
        page.goto(path.as_uri())
        page.wait_for_selector("body[data-ready=yes]", timeout=120_000)
        found = {"load_ms": page.evaluate("performance.now()")}
        for name, script in (("hookup_ms", _HOOKUPS), ("frequency_ms", _FREQUENCIES)):
            found[name] = median(page.evaluate(script, CHANGES))
        browser.close()
    return {name: round(value, 1) for name, value in found.items()}
