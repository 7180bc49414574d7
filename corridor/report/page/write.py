"""The what-if page: a review in one file of HTML that loads nothing from anywhere.

Everything that comes from the records stands in compressed blocks of base64, which the page's script unpacks and shows
as text: none of it is ever markup or script. The policy in the page's head forbids every request, and every script but
the two whose hashes it names.
"""

import base64
import hashlib
import html
import json
import zlib
from collections.abc import Iterator, Mapping, Sequence
from importlib import resources
from pathlib import Path
from string import Template
from typing import Any

from corridor.frames import CAUTION
from corridor.plan.what_if import WhatIf
from corridor.report.look.conventions import conventions
from corridor.report.page.facts import page_facts, path_facts
from corridor.report.page.plots import library_script, plot_models

__all__ = ["PAGE_FILE", "SCRIPTS", "TONE_BYTES", "kept_blocks", "page_html", "write_page"]

PAGE_FILE = "page.html"
SCRIPTS = (
    "decode.js", "facts.js", "tone.js", "words.js", "dom.js", "map.js", "labels.js", "legend.js", "profile.js",
    "line_panel.js", "tables.js", "controls.js", "main.js",
)  # fmt: skip
TONE_BYTES = 15_000_000  # 20 MB in base64: what a browser opens in a few seconds
_LEVEL = 6


def write_page(review: Any, path: str | Path, *, receipt: Mapping[str, Any]) -> None:
    """Write the page of a review or a plan.

    Parameters
    ----------
    review : Review or Plan
        One without ``what_if`` gives a page without tone.
    path : str or Path
        The file.
    receipt : mapping
        Of the results.
    """
    Path(path).write_text(page_html(review, receipt=receipt), encoding="utf-8", newline="\n")


def page_html(review: Any, *, receipt: Mapping[str, Any]) -> str:
    """Return the page of a review or a plan as text of HTML; parameters as `write_page`.

    Parameters
    ----------
    review : Review or Plan
    receipt : mapping
    """
    colours = conventions(review.settings.report).colours
    facts = page_facts(review, receipt, colours)
    library = library_script()
    own = _own_script()
    policy = (
        f"default-src 'none'; script-src {_hash(library)} {_hash(own)}; style-src 'unsafe-inline'; "
        "img-src data: blob:; form-action 'none'; base-uri 'none'"
    )
    plots = json.dumps(plot_models(tolerance_m=facts["tolerance_m"])).replace("<", "\\u003c")
    return Template(_text("page.html")).substitute(
        policy=policy,
        title=html.escape(f"{facts['title']}: where the tone goes"),
        caution=html.escape(CAUTION),
        style=_text("page.css"),
        blocks="\n".join(_blocks(review, facts)),
        plots=plots,
        library=library,
        own=own,
    )


def _text(name: str) -> str:
    return resources.files("corridor.report.page").joinpath(name).read_text(encoding="utf-8")


def _own_script() -> str:
    parts = "\n".join(_text(name) for name in SCRIPTS)
    return f'(function () {{\n"use strict";\n{parts}\n}})();'


def _hash(script: str) -> str:
    digest = hashlib.sha256(script.encode("utf-8")).digest()
    return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"


def _blocks(review: Any, facts: dict[str, Any]) -> Iterator[str]:
    """Yield the page's data: the facts, the tone of each hook-up, and the ways it took under each set-up."""
    paths = path_facts(review)
    facts["paths"] = [[hookup, frequency] for hookup, frequency in paths]
    whats = getattr(review, "what_if", ())
    kept = kept_blocks(whats)
    for number, window in enumerate(facts["windows"]):
        window["kept"] = [(number, hookup) in kept for hookup in range(len(window["hookups"]))]
    yield _block("facts", _compressed(facts))
    for number, hookup in sorted(kept):
        yield _block(f"tone-{number}-{hookup}", whats[number].blocks[hookup])
    for number, ways in enumerate(paths.values()):
        yield _block(f"paths-{number}", _compressed(ways))


def kept_blocks(whats: Sequence[WhatIf], *, most_bytes: int = TONE_BYTES) -> set[tuple[int, int]]:
    """Return which hook-ups' tone the page holds, by window and number: as many as fit, those of the plan first.

    Parameters
    ----------
    whats : sequence of WhatIf
    most_bytes : int
        Of their blocks together.
    """
    every = [
        (not bool(window.chosen[hookup].any()), number, hookup)
        for number, window in enumerate(whats)
        for hookup in range(len(window.blocks))
    ]
    kept, used = set(), 0
    for _, number, hookup in sorted(every):
        used += len(whats[number].blocks[hookup])
        if used > most_bytes:
            break
        kept.add((number, hookup))
    return kept


def _compressed(content: Any) -> bytes:
    text = json.dumps(content, ensure_ascii=True, separators=(",", ":"), allow_nan=False)
    return zlib.compress(text.encode("ascii"), _LEVEL)


def _block(name: str, content: bytes) -> str:
    return f'<script type="application/octet-stream" id="{name}">{base64.b64encode(content).decode("ascii")}</script>'
