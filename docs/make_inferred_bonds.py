"""Write docs/inferred_bonds.md: bonds found on the sample sites beside what their generator put into the ground."""

import importlib
import json
import sys
import tempfile
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import pandas as pd

from corridor.couplings import find_bonds
from corridor.site import read_site

__all__ = ["CLASSES", "FRESH_SEED", "TARGET", "Score", "document", "in_the_ground", "practice", "samples"]

TARGET = Path(__file__).with_name("inferred_bonds.md")
SAMPLES = Path(__file__).parents[1] / "sample_gis"
FRESH_SEED = 20
CLASSES = ("on record", "inferred", "suspected")
_ON_RECORD = ("recorded", "observed", "measured")
_HEAD = f"""# Inferred bonds against the truth

Made by docs/make_inferred_bonds.py. The three sample sites as committed (seed 1) and once more from seed {FRESH_SEED};
`truth.json`, which the toolkit never reads, says what the generator put into the ground. Precision: of the bonds found,
how many are there. Recall: of those there, how many are found.

**What these figures can't say.** The generator builds a bond of code practice with the probability that its catalogue
states, an engineering estimate that is the same as that of the rules. That the precision comes out near it shows that
rules and reading do what they claim to; it doesn't show that the estimate is right: only checks in a street could.
How many contacts nobody intended lie in the ground (`hidden`) is an invention too.
"""
_PRACTICE = """## Where practice makes bonds

Bonds that code practice calls for at the structures of a site, as the generator meant them, against those that the
rules find from the records, messy attributes included. A pair that meets, or has a recorded bond, needs no rule and
isn't counted. This checks where bonds are expected, not whether they are there.
"""
_GROUND = """## What is in the ground

Bonds found and not recorded as open, against what is in the ground: bonds on record that are closed, practice that was
built, and hidden contacts. Recall of `on record` is over all of these, recall of `inferred` and `suspected` over those
that no record vouches for. Owners' own rows of evidence inferred or suspected count in their class.
"""
_TAIL = """## How to read them

- `group_likely` rests on the class inferred: over all sites about a quarter of its bonds aren't there, as its
  probabilities of 0.6 to 0.9 say. `group_possible` adds the suspected ones: six rows, too few for a figure; four of the
  owners' own suspicions are true because the generator plants them where it hides a contact.
- What is there and isn't found are contacts along the street. No rule at a structure can find them, and so a line
  without evidence is `not known`, never separate.
- The classes are small on one site; read the rows of all sites first.
"""


@dataclass(frozen=True)
class Score:
    """Counts of one class of evidence: bonds found, bonds there, and those that are both."""

    found: int
    there: int
    right: int

    def __add__(self, other: "Score") -> "Score":
        return Score(self.found + other.found, self.there + other.there, self.right + other.right)

    @property
    def precision(self) -> float:
        """Share of the found that are there; NaN where none is found."""
        return self.right / self.found if self.found else float("nan")

    @property
    def recall(self) -> float:
        """Share of those there that are found; NaN where none is there."""
        return self.right / self.there if self.there else float("nan")


Scores = dict[str, Score]


def samples(folder: Path) -> dict[tuple[str, int], Path]:
    """Return site folders by name and seed: the committed samples, and fresh ones made below a folder."""
    sys.path.insert(0, str(SAMPLES))
    try:
        sites = importlib.import_module("sitegen.sites")
    finally:
        sys.path.remove(str(SAMPLES))
    made = {(name, 1): SAMPLES / name for name in sites.SITES}
    return made | {
        (name, FRESH_SEED): sites.make_site(name, folder, seed=FRESH_SEED).parent for name in sites.SITES
    }  # fmt: skip


def practice(folder: Path) -> Scores:
    """Score the rules' bonds at structures against those that the generator meant, by evidence."""
    bonds, truth = _read(folder)
    settled = {_pair(pair) for pair in truth["connections"]}
    settled |= {
        _pair((row["line_a"], row["line_b"])) for row in truth["bonds"]["records"] if row["evidence"] in _ON_RECORD
    }
    meant = {_key(row): "inferred" if row["probability"] >= 0.5 else "suspected" for row in truth["bonds"]["inferred"]}
    meant = {key: word for key, word in meant.items() if key[1] not in settled}
    ruled = bonds[bonds["rule"] != "recorded"]
    found = {_key(row): row["evidence"] for row in ruled.to_dict("records")}
    return {
        word: Score(
            sum(evidence == word for evidence in found.values()),
            sum(evidence == word for evidence in meant.values()),
            sum(evidence == word and meant.get(key) == word for key, evidence in found.items()),
        )
        for word in CLASSES[1:]
    }


def in_the_ground(folder: Path) -> Scores:
    """Score all bonds found, but the open ones, against what is in the ground, by evidence."""
    bonds, truth = _read(folder)
    records = truth["bonds"]["records"]
    certain = {_pair((row["line_a"], row["line_b"])) for row in records
               if row["evidence"] in _ON_RECORD and row["state"] == "closed"}  # fmt: skip
    joined = certain | {_pair(pair) for pair in truth["connections"]}
    built = {_key(row) for row in truth["bonds"]["inferred"] if row["built"]}
    silent = Counter({key: 1 for key in built if key[1] not in joined})
    hidden = {_pair((row["line_a"], row["line_b"])) for row in truth["bonds"]["hidden"]}
    unrecorded = len(silent) + len(hidden)
    scores = dict.fromkeys(CLASSES, Score(0, 0, 0))
    for row in bonds.to_dict("records"):
        if row["state"] == "open" or row["line_b"] == "earth":
            continue
        word = "on record" if row["evidence"] in _ON_RECORD else row["evidence"]
        own = row["rule"] == "recorded"
        right = _key(row)[1] in (certain if word == "on record" else hidden) if own else _key(row) in silent
        scores[word] += Score(1, 0, int(right))
    there = {"on record": len(certain) + unrecorded, "inferred": unrecorded, "suspected": unrecorded}
    return {word: score + Score(0, there[word], 0) for word, score in scores.items()}


@cache
def _read(folder: Path) -> tuple[pd.DataFrame, dict[str, Any]]:
    site = read_site(folder / f"{folder.name}.gpkg")
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    return pd.DataFrame(find_bonds(site).drop(columns="geometry")), truth


def _pair(names: Iterable[str]) -> tuple[str, str]:
    first, second = sorted(names)
    return first, second


def _key(row: dict[str, Any]) -> tuple[str, tuple[str, str]]:
    return str(row["structure_id"]), _pair((row["line_a"], row["line_b"]))


def document(folders: dict[tuple[str, int], Path]) -> str:
    """Return the whole document."""
    parts = [_HEAD]
    for text, scorer, there in ((_PRACTICE, practice, "meant"), (_GROUND, in_the_ground, "there")):
        scores = {where: scorer(folder) for where, folder in folders.items()}
        parts += [text, _table(scores, there)]
    return "\n".join([*parts, _TAIL])


def _table(scores: dict[tuple[str, int], Scores], there: str) -> str:
    words = list(next(iter(scores.values())))
    total = {word: sum((held[word] for held in scores.values()), Score(0, 0, 0)) for word in words}
    lines = [
        f"| site | seed | evidence | found | {there} | both | precision | recall |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for (name, seed), held in [*((where, held) for where, held in scores.items()), (("all sites", "1, 20"), total)]:
        for word in words:
            score = held[word]
            cells = [
                name,
                seed,
                word,
                score.found,
                score.there,
                score.right,
                _share(score.precision),
                _share(score.recall),
            ]
            lines.append(f"| {' | '.join(str(cell) for cell in cells)} |")
    return "\n".join(lines) + "\n"


def _share(value: float) -> str:
    return "" if value != value else f"{value:.2f}"  # noqa: PLR0124 - NaN: nothing to share


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as made:
        TARGET.write_text(document(samples(Path(made))), encoding="utf-8", newline="\n")
