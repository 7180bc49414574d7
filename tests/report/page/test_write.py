"""The page as a file: whole, the same again, and asking for nothing."""

import base64
import hashlib
import json
import re
import zlib
from html.parser import HTMLParser
from pathlib import Path

import pytest

from corridor.frames import CAUTION
from corridor.plan.what_if import unpack
from corridor.report.page import PAGE_FILE, page_html, write, write_page
from corridor.report.page.write import SCRIPTS, TONE_BYTES, kept_blocks
from corridor.report.results import REVIEW_FILES, write_review
from tests.browser.pages import HOSTILE, receipt_of, small_plan
from tests.report.examples import example_review

FOLDER = Path(__file__).parents[3] / "corridor" / "report" / "page"


class Parts(HTMLParser):
    """Elements of a page with their attributes, and the content of its scripts."""

    def __init__(self) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.scripts: list[tuple[dict[str, str | None], str]] = []
        self._inside = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        self._inside = tag == "script"
        if self._inside:
            self.scripts.append((dict(attrs), ""))

    def handle_endtag(self, tag: str) -> None:
        self._inside = False

    def handle_data(self, data: str) -> None:
        if self._inside:
            attributes, text = self.scripts[-1]
            self.scripts[-1] = (attributes, text + data)


@pytest.fixture(scope="module")
def text() -> str:
    return page_html(small_plan(), receipt=receipt_of(small_plan()))


@pytest.fixture(scope="module")
def parts(text: str) -> Parts:
    found = Parts()
    found.feed(text)
    return found


def block(parts: Parts, name: str) -> bytes:
    (content,) = (text for attributes, text in parts.scripts if attributes.get("id") == name)
    return base64.b64decode(content)


def test_the_same_again(text: str) -> None:
    assert page_html(small_plan(), receipt=receipt_of(small_plan())) == text


def test_nothing_points_outside(parts: Parts) -> None:
    for tag, attributes in parts.elements:
        for name in ("src", "href", "action", "data", "poster", "srcset"):
            target = attributes.get(name)
            assert target is None or target.startswith(("#", "data:,")), (tag, target)
    assert not {"iframe", "object", "embed", "form", "base"} & {tag for tag, _ in parts.elements}


def test_the_policy_lets_only_its_own_scripts_run(parts: Parts) -> None:
    # Content Security Policy Level 3 (W3C), hash sources: base64 of the SHA-256 of the script's text
    (policy,) = (
        a["content"] for tag, a in parts.elements if tag == "meta" and a.get("http-equiv") == "Content-Security-Policy"
    )
    assert policy is not None
    assert policy.startswith("default-src 'none'; ")
    running = [content for attributes, content in parts.scripts if "type" not in attributes]
    hashes = [base64.b64encode(hashlib.sha256(content.encode()).digest()).decode() for content in running]
    (allowed,) = re.findall(r"script-src ([^;]*);", policy)
    assert allowed.split() == [f"'sha256-{one}'" for one in hashes]
    for word in ("unsafe-eval", "http:", "https:", "*"):
        assert word not in policy
    assert "unsafe-inline" not in allowed


def test_hostile_texts_are_only_in_the_blocks(text: str, parts: Parts) -> None:
    for hostile in HOSTILE:
        assert hostile not in text
    assert "\u2028" not in text.split("<script", maxsplit=1)[0]
    facts = json.loads(zlib.decompress(block(parts, "facts")))
    assert HOSTILE[0] in json.dumps(facts["lines"], ensure_ascii=False)


def test_a_hostile_title_is_escaped(tmp_path: Path) -> None:
    review = example_review(1)
    source = type(
        "Source", (), {"path": "x/<img src=x onerror=alert(1)>.gpkg", "sha256": "", "modified": "", "layers": ()}
    )()
    review.site = type(review.site)(**{**vars(review.site), "sources": (source,)})
    found = page_html(review, receipt=receipt_of(example_review(1)))
    assert "<img" not in found
    assert "&lt;img src=x" in found


def test_every_hookup_has_its_block(parts: Parts) -> None:
    (found,) = small_plan().what_if
    for number in range(len(found.hookup_ids)):
        raw = zlib.decompress(block(parts, f"tone-0-{number}"))
        assert len(raw) == sum(array.nbytes for array in vars(unpack(found, number)).values())


def test_of_too_much_the_plans_hookups_go_first() -> None:
    (found,) = small_plan().what_if
    chosen = {number for number in range(len(found.blocks)) if found.chosen[number].any()}
    assert 0 < len(chosen) < len(found.blocks)
    room = sum(len(found.blocks[number]) for number in chosen)
    assert kept_blocks((found,), most_bytes=room) == {(0, number) for number in chosen}
    assert kept_blocks((found,), most_bytes=room - 1) < {(0, number) for number in chosen}
    assert len(kept_blocks((found,))) == len(found.blocks)
    assert kept_blocks((found,), most_bytes=0) == set()
    assert kept_blocks(()) == set()


def test_the_facts_tell_what_is_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(write, "kept_blocks", lambda whats: {(0, 1)})
    found = Parts()
    found.feed(page_html(small_plan(), receipt=receipt_of(small_plan())))
    (window,) = json.loads(zlib.decompress(block(found, "facts")))["windows"]
    assert [k for k, kept in enumerate(window["kept"]) if kept] == [1]
    assert [a["id"] for a, _ in found.scripts if str(a.get("id")).startswith("tone-")] == ["tone-0-1"]


def test_a_full_page_stays_within_its_size() -> None:
    # 4/3 for base64 (RFC 4648), and the library: what is promised is 25 MB
    assert TONE_BYTES * 4 / 3 + 1_500_000 < 23_000_000


def test_it_says_what_it_is(text: str) -> None:
    head = text.split("<script", maxsplit=1)[0]
    assert head.startswith("<!DOCTYPE html>")
    assert head.count(CAUTION) >= 2
    assert '<html lang="en">' in head


def test_no_clock_and_no_place_of_this_machine(text: str, parts: Parts) -> None:
    facts = zlib.decompress(block(parts, "facts")).decode()
    own = "\n".join((FOLDER / name).read_text(encoding="utf-8") for name in SCRIPTS)
    for word in (
        "Date.now",
        "new Date",
        "Math.random",
        "localStorage",
        "innerHTML",
        "insertAdjacentHTML",
        "document.write",
        "eval(",
    ):
        assert word not in own, word
    assert str(FOLDER.parents[2]) not in text + facts


def test_every_script_of_the_folder_is_in_the_page() -> None:
    assert {path.name for path in FOLDER.glob("*.js")} == set(SCRIPTS)


@pytest.mark.parametrize("name", SCRIPTS)
def test_scripts_are_readable(name: str) -> None:
    lines = (FOLDER / name).read_text(encoding="utf-8").splitlines()
    assert lines[0].startswith("// ")
    assert len(lines) <= 400
    assert max(map(len, lines)) <= 170


def test_words_that_promise_too_much_are_not_in_it() -> None:
    own = "\n".join((FOLDER / name).read_text(encoding="utf-8") for name in (*SCRIPTS, "page.html"))
    for word in (r"\bsafe\b", r"\bOK\b", r"all clear", r"clear to dig", r"no lines? here"):
        assert not re.search(word, own, flags=re.IGNORECASE), word


def test_it_stands_in_the_folder_of_a_review(tmp_path: Path) -> None:
    assert PAGE_FILE in REVIEW_FILES
    write_review(example_review(1), tmp_path / "out")
    assert (tmp_path / "out" / PAGE_FILE).read_text(encoding="utf-8").startswith("<!DOCTYPE html>")


def test_write_page_writes_that_text(tmp_path: Path, text: str) -> None:
    write_page(small_plan(), tmp_path / "p.html", receipt=receipt_of(small_plan()))
    assert (tmp_path / "p.html").read_bytes() == text.encode("utf-8")


def test_a_small_site_is_a_small_file(text: str) -> None:
    assert len(text) < 2_500_000  # 1.3 MB of it the plotting library
