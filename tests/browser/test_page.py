"""The what-if page as people use it, in a real browser."""

import re
from pathlib import Path
from typing import Any

import pytest

from corridor.report.page import write, write_page
from tests.browser.conftest import Opened
from tests.browser.pages import FREQUENCIES, HOSTILE, receipt_of, small_plan
from tests.report.examples import example_review


def ready_ids() -> list[str]:
    return list(small_plan().what_if[0].hookup_ids)


def hookup(mode: str, line_id: str = "A") -> str:
    return next(name for name in ready_ids() if name.startswith(f"{mode}:{line_id}:"))


# --- loading ----------------------------------------------------------------------------------------------------------


def test_it_loads_alone(fresh: Opened) -> None:
    assert fresh.page.title().endswith("where the tone goes")
    assert fresh.page.evaluate("performance.getEntriesByType('resource').length") == 0


def test_nothing_may_be_requested(fresh: Opened) -> None:
    # the policy itself is tried: a request from within is refused, which the console tells
    refused = fresh.page.evaluate("fetch('https://example.invalid/x').then(() => 'sent', () => 'refused')")
    assert refused == "refused"
    assert fresh.messages
    assert all("Content Security Policy" in text or "Fetch API" in text for text in fresh.messages)
    fresh.messages.clear()


def test_no_script_can_be_added(fresh: Opened) -> None:
    fresh.page.evaluate(
        """() => {
            const script = document.createElement('script');
            script.textContent = 'window.taken = 9';
            document.body.append(script);
        }"""
    )
    assert fresh.page.evaluate("window.taken") is None
    assert fresh.messages
    fresh.messages.clear()


def test_the_first_setup_of_the_plan_is_shown(fresh: Opened) -> None:
    first = small_plan().setups.query("kind == 'setup' and ready == 'ready'").iloc[0]
    assert fresh.page.evaluate("corridorPage.hookup.hookup_id") == first["hookup_id"]
    assert fresh.page.evaluate("corridorPage.frequency") == first["frequency_hz"]
    assert f"on {first['line_id']}" in fresh.page.inner_text("#result-text")


def test_the_caution_stands_on_it(opened: Opened) -> None:
    text = opened.page.inner_text("body")
    assert text.count("Predictions from records, not marks. One-call first.") >= 2
    assert "it is still there" in text


# --- choosing ---------------------------------------------------------------------------------------------------------


def test_another_hookup_recolours(opened: Opened) -> None:
    before = opened.source("tone")
    shown = opened.page.evaluate("corridorPage.hookup.hookup_id")
    other = next(name for name in (hookup("direct"), hookup("clamp")) if name != shown)
    number = opened.page.evaluate("(name) => corridorPage.facts.hookupAt.get(name)", other)
    opened.page.select_option("#hookup-list", str(number))
    opened.page.wait_for_function("(name) => corridorPage.tone.hookup.hookup_id === name", arg=other)
    after = opened.source("tone")
    assert after["color"] != before["color"] or after["width"] != before["width"]
    assert other.split(":")[0] in opened.page.inner_text("#result-text")
    assert opened.said == opened.page.inner_text("#result-text")


def test_another_frequency_recolours(opened: Opened) -> None:
    opened.choose(hookup=hookup("direct"), frequency=FREQUENCIES[0])
    before = opened.source("tone"), opened.said
    opened.page.check(f"#frequencies input[value='{FREQUENCIES[1]:g}']")
    opened.page.wait_for_function("(f) => corridorPage.tone.frequency === f", arg=FREQUENCIES[1])
    opened.page.wait_for_function("(old) => document.getElementById('said').textContent !== old", arg=before[1])
    assert opened.source("tone") != before[0]
    assert "10 kHz" in opened.said


def test_colours_follow_the_colouring(opened: Opened) -> None:
    opened.choose(hookup=hookup("direct"))
    seen = {}
    for name in ("tone", "most", "utility", "grade", "sense"):
        opened.page.check(f"#colourings input[value={name}]")
        opened.page.wait_for_function("(name) => corridorPage.colouring === name", arg=name)
        opened.page.wait_for_function("(name) => document.getElementById('legend').dataset.shown === name", arg=name)
        seen[name] = set(opened.source("tone")["color"])
    palette = opened.page.evaluate("corridorPage.facts.colours")
    assert seen["utility"] == set(palette["utilities"].values())
    assert seen["sense"] <= set(palette["senses"].values()) | {
        palette["tone"]["less"],
        palette["grades"]["untraceable"],
    }
    assert seen["grade"] <= set(palette["grades"].values()) | {palette["tone"]["less"]}
    assert seen["tone"] | seen["most"] <= {
        *palette["tone"]["steps"],
        palette["tone"]["less"],
        palette["grades"]["untraceable"],
    }


def test_numbers_are_those_of_the_review(opened: Opened) -> None:
    plan = small_plan()
    row = plan.sections.sort_values("current_ma").iloc[-1]
    opened.choose(hookup=row["hookup_id"], frequency=float(row["frequency_hz"]))
    found = opened.page.evaluate(
        """([line, number]) => {
            const { tone } = corridorPage;
            const first = tone.window.line_of.indexOf(tone.window.lines.indexOf(line));
            const section = first + number;
            return [tone.current(section).value, tone.outputMa, tone.grade(section)];
        }""",
        [row["line_id"], int(row["section_id"].split("#")[1]) - 1],
    )
    assert found[0] == pytest.approx(row["current_ma"], rel=0.012)  # half a step of 2.3 %
    assert found[0] / found[1] == pytest.approx(row["share_of_output"], rel=0.013)
    assert found[2] == row["grade"]


def test_filters_narrow_the_list(fresh: Opened) -> None:
    count = "document.querySelectorAll('#hookup-list option:not([disabled])').length"
    everything = fresh.page.evaluate(count)
    assert everything == len(ready_ids())
    fresh.page.select_option("#mode", "clamp")
    clamps = fresh.page.evaluate(count)
    assert clamps == sum(name.startswith("clamp") for name in ready_ids())
    fresh.page.fill("#find", "no such thing")
    assert fresh.page.evaluate(count) == 0
    assert "0 READY" in fresh.page.inner_text("#hookup-count")


def test_what_isnt_ready_is_listed_with_its_reason_and_cant_be_chosen(opened: Opened) -> None:
    closed = small_plan().hookups.query("ready != 'ready'")
    assert len(closed)
    assert opened.page.evaluate("document.querySelectorAll('#hookup-list option[disabled]').length") == len(closed)
    opened.page.click("#tab-waiting")
    text = opened.page.inner_text("#panel-area")
    for row in closed.to_dict("records"):
        assert row["missing"] in text
    assert "NOT READY" in text


def test_a_hookup_is_chosen_by_a_click(opened: Opened) -> None:
    opened.choose(hookup=hookup("direct"))
    wanted = hookup("induction", "C")
    place = small_plan().hookups.set_index("hookup_id").geometry.loc[wanted]
    opened.page.evaluate("([x, y]) => corridorPage.map.centre(x, y, 0.05)", [place.x, place.y])
    opened.page.wait_for_timeout(300)
    opened.page.mouse.click(*opened.screen(place.x, place.y))
    opened.page.wait_for_function("(name) => corridorPage.hookup.hookup_id === name", arg=wanted)
    number = opened.page.evaluate("(name) => String(corridorPage.facts.hookupAt.get(name))", wanted)
    # the controls follow once the hook-up's figures are there
    opened.page.wait_for_function("(number) => document.getElementById('hookup-list').value === number", arg=number)
    assert opened.page.input_value("#hookup-list") == number


# --- lines ------------------------------------------------------------------------------------------------------------


def line_place(line_id: str, share: float = 0.37) -> tuple[float, float]:
    shape = small_plan().site.lines.set_index("line_id").geometry.loc[line_id]
    point = shape.interpolate(share, normalized=True)
    return point.x, point.y


def look_at(opened: Opened, x_m: float, y_m: float) -> tuple[float, float]:
    opened.page.evaluate("([x, y]) => corridorPage.map.centre(x, y, 0.02)", [x_m, y_m])
    opened.page.wait_for_timeout(300)
    return opened.screen(x_m, y_m)


def test_a_click_on_a_line_tells_how_the_tone_got_there(opened: Opened) -> None:
    opened.choose(hookup=hookup("direct"))
    place = look_at(opened, *line_place("B"))
    opened.page.mouse.click(*place)
    opened.page.wait_for_function("() => corridorPage.line === corridorPage.facts.lineAt.get('B')")
    opened.page.wait_for_function(
        "() => document.getElementById('panel-area').textContent.includes('How the tone gets there')"
    )
    text = opened.page.inner_text("#panel-area")
    assert "mA" in text
    assert re.search(r"bond X|induction", text)
    assert "B selected" in opened.said


def test_hover_tells_the_facts(opened: Opened) -> None:
    opened.choose(hookup=hookup("direct"))
    x, y = look_at(opened, *line_place("B"))
    opened.page.mouse.move(x + 40, y + 40)
    opened.page.mouse.move(x, y)
    opened.page.wait_for_selector("#hint:not([hidden])")
    text = opened.page.inner_text("#hint")
    assert text.startswith("B")
    for word in ("mA", "of the output", "target"):
        assert word in text


def test_a_line_without_metal_is_still_there(opened: Opened) -> None:
    opened.choose(line="<b>D</b>", tab="line")
    assert "it is still there" in opened.page.inner_text("#panel-area")
    assert "it is still there" in opened.page.inner_text("#profile-text")
    dashes = {tuple(dash) for dash in opened.source("tone")["dash"]}
    assert dashes == {(), (9, 4), (2, 4)}  # solid, assumed, untraceable


def test_every_recorded_line_is_drawn(opened: Opened) -> None:
    # by the coordinates: each line's ends are ends of strokes
    drawn = opened.source("tone")
    ends = {(round(x, 1), round(y, 1)) for xs, ys in zip(drawn["xs"], drawn["ys"], strict=True)
            for x, y in ((xs[0], ys[0]), (xs[-1], ys[-1]))}  # fmt: skip
    for shape in small_plan().site.lines.geometry:
        for x, y in (shape.coords[0][:2], shape.coords[-1][:2]):
            assert (round(x, 1), round(y, 1)) in ends


def test_what_an_uncertain_bond_may_bring_is_told(opened: Opened) -> None:
    # the bond Y may conduct or not: nominally C carries next to nothing, in another case much
    opened.choose(hookup=hookup("direct"), line="C", tab="line")
    text = opened.page.inner_text("#panel-area")
    assert "in the worst of the cases" in text
    opened.choose(colouring="tone")
    less = opened.source("tone")["color"]
    opened.choose(colouring="most")
    assert opened.source("tone")["color"] != less


def test_the_profile_follows_the_line(opened: Opened) -> None:
    opened.choose(hookup=hookup("direct"), line="A")
    pull = opened.page.evaluate("corridorPage.profile.source('pull', 'pull_line').data.xs[0].length")
    stations = small_plan().stations.query("line_id == 'A'")
    assert pull > 0
    assert len(stations)
    assert "largest pull" in opened.page.inner_text("#profile-text")
    current = opened.page.evaluate("corridorPage.profile.source('current', 'current_range').data")
    assert all(low <= high for low, high in zip(current["low"], current["high"], strict=True))


def test_the_plan_shows_a_setup_on_the_map(opened: Opened) -> None:
    opened.page.click("#tab-plan")
    rows = small_plan().setups
    assert opened.page.locator("#panel-area tbody tr").count() == len(rows)
    last = rows.query("kind == 'setup' and ready == 'ready'").iloc[-1]
    opened.page.get_by_role("button", name=last["setup_id"], exact=True).click()
    opened.page.wait_for_function(
        "([name, f]) => corridorPage.tone.hookup.hookup_id === name && corridorPage.tone.frequency === f",
        arg=[last["hookup_id"], float(last["frequency_hz"])],
    )
    opened.page.wait_for_function(
        "(id) => document.querySelector('tr.now').textContent.includes(id)", arg=last["setup_id"]
    )


@pytest.mark.parametrize("tab", ["line", "plan", "verify", "groups", "findings", "cautions", "waiting"])
def test_every_panel_opens(opened: Opened, tab: str) -> None:
    opened.page.click(f"#tab-{tab}")
    assert opened.page.get_attribute(f"#tab-{tab}", "aria-selected") == "true"
    assert len(opened.page.inner_text("#panel-area")) > 20


def test_a_plan_says_what_to_verify_first(opened: Opened) -> None:
    opened.page.click("#tab-verify")
    text = opened.page.inner_text("#panel-area")
    for row in small_plan().verify_first.to_dict("records"):
        assert row["unknown"] in text


# --- keyboard, and what is read aloud ---------------------------------------------------------------------------------


def test_it_works_from_the_keyboard(fresh: Opened) -> None:
    page = fresh.page
    page.focus("#hookup-list")
    before = page.evaluate("corridorPage.hookup.hookup_id")
    page.keyboard.press("Home")
    page.keyboard.press("ArrowDown")
    page.wait_for_function("(old) => corridorPage.hookup.hookup_id !== old", arg=before)
    page.focus("#map")
    page.keyboard.press("n")
    page.wait_for_function("() => corridorPage.line !== null")
    first = page.evaluate("corridorPage.line")
    page.keyboard.press("n")
    page.wait_for_function("(old) => corridorPage.line !== old", arg=first)
    start = page.evaluate("corridorPage.map.x.start")
    page.keyboard.press("ArrowRight")
    assert page.evaluate("corridorPage.map.x.start") > start
    width = "corridorPage.map.x.end - corridorPage.map.x.start"
    wide = page.evaluate(width)
    page.keyboard.press("+")
    assert page.evaluate(width) < wide
    page.focus("#tab-plan")
    page.keyboard.press("ArrowRight")
    page.wait_for_function("() => corridorPage.tab === 'verify'")
    assert page.evaluate("document.activeElement.id") == "tab-verify"


def test_focus_goes_through_the_controls_in_order_and_shows(fresh: Opened) -> None:
    page = fresh.page
    page.evaluate("document.body.focus()")
    met: list[str] = []
    for _ in range(40):
        page.keyboard.press("Tab")
        met.append(page.evaluate("document.activeElement.id || document.activeElement.name || ''"))
        outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
        if met[-1] not in ("", "skip"):
            assert outline != "none", met[-1]
        if met[-1].startswith("tab-"):
            break
    wanted = ["mode", "find", "hookup-list", "frequency", "colouring", "line-list", "map"]
    assert [name for name in met if name in wanted] == wanted


def test_the_hookup_chosen_is_seen_in_the_list(opened: Opened) -> None:
    seen = """(number) => {
        const list = document.getElementById('hookup-list');
        list.value = String(number);
        corridorPage.controls.bringIntoView(list, list.selectedOptions[0]);
        const [box, row] = [list, list.selectedOptions[0]].map((one) => one.getBoundingClientRect());
        return box.top <= row.top && row.bottom <= box.bottom;
    }"""
    shown = "[...document.querySelectorAll('#hookup-list option:not([disabled])')].map((one) => one.value)"
    values = opened.page.evaluate(shown)
    assert all(opened.page.evaluate(seen, value) for value in (values[-1], values[0], values[len(values) // 2]))


def test_everything_has_a_name(opened: Opened) -> None:
    nameless = opened.page.evaluate(
        """() => [...document.querySelectorAll('select, input, button, [role=application], [role=tabpanel]')]
            .filter((one) => !(one.labels && one.labels.length) && !one.getAttribute('aria-label'))
            .filter((one) => !one.textContent.trim()).map((one) => one.outerHTML)"""
    )
    assert nameless == []
    assert opened.page.get_attribute("#said", "aria-live") == "polite"


# --- texts stay texts -------------------------------------------------------------------------------------------------


def test_hostile_texts_stay_texts(fresh: Opened) -> None:
    page = fresh.page
    for line_id, text in (("A", HOSTILE[0]), ("B", HOSTILE[1]), ("C", HOSTILE[2]), ("A", HOSTILE[4])):
        fresh.choose(line=line_id, tab="line")
        assert text in page.inner_text("#panel-area")
    for tab in ("plan", "verify", "groups", "findings", "cautions", "waiting"):
        page.click(f"#tab-{tab}")
    fresh.choose(line="<b>D</b>", tab="line")
    assert "<b>D</b>" in page.inner_text("#panel-area")
    assert page.locator("#panel-area b").count() == 0
    assert page.locator("img").count() == 0
    x, y = look_at(fresh, *line_place("<b>D</b>"))
    page.mouse.move(x + 30, y + 30)
    page.mouse.move(x, y)
    page.wait_for_selector("#hint:not([hidden])")
    assert page.inner_text("#hint").startswith("<b>D</b>")
    assert page.locator("#hint b").count() == 0
    assert page.evaluate("window.taken") is None


# --- other pages ------------------------------------------------------------------------------------------------------


def test_a_review_without_tone_shows_its_lines(browser: Any, tmp_path: Path) -> None:
    review = example_review(2)
    write_page(review, tmp_path / "page.html", receipt=receipt_of(review))
    tab = Opened(browser, tmp_path / "page.html")
    assert "without tone" in tab.page.inner_text("#result-text")
    assert "NOT READY" in tab.page.inner_text("#result-badge")
    assert len(tab.source("tone")["xs"]) == len(review.site.lines)
    tab.page.click("#tab-verify")
    assert "Only a plan" in tab.page.inner_text("#panel-area")
    tab.page.close()
    assert tab.messages == []


def test_what_had_no_room_is_named(browser: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    kept = hookup("direct")
    monkeypatch.setattr(write, "kept_blocks", lambda whats: {(0, ready_ids().index(kept))})
    write_page(small_plan(), tmp_path / "page.html", receipt=receipt_of(small_plan()))
    tab = Opened(browser, tmp_path / "page.html")
    assert tab.page.evaluate("corridorPage.hookup.hookup_id") == kept
    assert "1 READY" in tab.page.inner_text("#hookup-count")
    tab.page.click("#tab-waiting")
    assert "its tone isn't in this file" in tab.page.inner_text("#panel-area")
    tab.page.close()
    assert tab.messages == []


def test_it_prints(fresh: Opened, tmp_path: Path) -> None:
    fresh.page.pdf(path=str(tmp_path / "page.pdf"), prefer_css_page_size=True)
    pypdf = pytest.importorskip("pypdf")
    text = "\n".join(page.extract_text() for page in pypdf.PdfReader(tmp_path / "page.pdf").pages)
    assert "Predictions from records, not marks" in text
    assert "READY" in text
    assert "Find a hook-up" not in text  # controls stay off paper
