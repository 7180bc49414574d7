"""Write docs/readings.md: the guide to readings, and how well hidden causes are found in an invented street.

The first argument is the number of processes.
"""

import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from corridor.readings import apply_readings

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))
from tests.readings.street import Ground, Truth, street_plan, street_rows, street_site  # noqa: E402

__all__ = ["TARGET", "Outcome", "both", "document", "outcome", "street", "study"]

TARGET = Path(__file__).with_name("readings.md")
SEEDS = tuple(range(101, 111))
VISIBLE = 5.0  # standard deviations, over all readings together, by which a cause must change them
CASES_A_TRUTH = 10
HELD_OUT = 0.15

_HEAD = """# Readings

Made by docs/make_readings.py. **Predictions from records, not marks. One-call first. Unrecorded lines may be
anywhere.**

A crew's readings go back in with

```sh
corridor readings my_records.gpkg --plan plan_folder --readings readings.csv -o updated
```

or `corridor.apply_readings(site, plan, readings)`. The answer: what explains the readings, ranked, each cause with
its probability and where to look; what every reading should have been; the true current on the line with its range;
and the site with these probabilities carried into its records, to make a plan again on it.

**A cause ranked first is a thing to check on site, not a fact.** Only the causes listed were looked at. No cause,
however probable, clears a line for direct connection: the hazard gate stays as strict as it was. A bond, ground or
joint is its owner's: nobody opens, closes or lifts one to see whether the ranking was right. Local codes and owners'
rules come first.

## The file

CSV in UTF-8; columns as in the [data dictionary](data_dictionary.md#readings), in any order. A row is one reading:

| kind | what is read | unit |
|---|---|---|
| `source_ma`, `source_v`, `source_ohm` | the transmitter's current, voltage, impedance at that frequency | mA, V, ohm |
| `clamp_ma` | current by a measuring clamp round the line | mA |
| `receiver_ma` | current that the receiver infers over the line | mA |
| `peak_offset_m` | where the peak stands, left of the line's direction positive | m |
| `depth_reading_m` | depth that the receiver shows: to the centre of the current, not cover | m |
| `foreign_tone` | a tone of that frequency while the transmitter is off | mA |

`station_m` or `x_m` and `y_m` say where; the source needs no place. `frequency_hz` is the set-up's where left out. A
row without a value isn't a reading but a question: what would be read there is predicted, which shows where the next
reading tells most. Nothing heard is 0. Where a foreign tone was heard, readings within 10 m along that line don't
count. A mistake (an unknown set-up, line or kind, a place off the line, a negative current) ends the run with its
row.

## How it judges

- **Hypotheses.** Nothing is hidden; each single cause; the likeliest causes two by two. Causes come from the site:
  bonds and grounds on record that may not be as they say, with the probability that the records give; bonds that
  nobody recorded, where conductors meet at a structure, cross, or lie within a metre; an open joint about every 20 m
  along the lines hooked up; joints taken as parting that conduct; a ground that nobody recorded, at ends and
  structures; a poor stake; the next line at the same structure hooked up instead. All those that no record speaks of
  share even odds with nothing being hidden (`readings.hidden_odds`), an engineering estimate. Resistances are three
  values at most for each.
- **Soil.** Factors of 0.3 to 3 on the recorded resistivity: seven solved, 25 judged by splines between them.
- **Solutions.** One factorisation for each soil and frequency; each cause is a low-rank update of it (Woodbury 1950).
  Spare bonds and ground rods stand in the network unconnected, possible partings as closed joints: exactly the same
  network until one is switched.
- **Depths and places** (12 % and 0.17 m, standard deviations) change the readings of a line together. Networks of a
  two-level design, each line up or down in depth and across, give the covariance for every cause (Plackett and Burman
  1946, from memory); at most `readings.geometries` of them, the lines nearest to those read first.
- **Receiver currents** are what the receiver would infer from field and depth, peak within a metre of the recorded
  line. A factor common to a line in one set-up is free within 10 %, so they count as ratios along the line first.
- **Noise**: 5 % of a reading, 2 % for what the solution itself is off by ([method](method.md), Sections). Three
  readings in a hundred may have gone wrong by a factor of about three; how probable that is stands beside each.
- **Posterior**: the exact sum over hypotheses and soils (Bayes). Ranges of currents follow from the normal law of
  readings and currents together, given the readings, as a mixture over all hypotheses.
- **Sets.** Causes whose odds these readings would move by less than three to one have the same `set_id`: they can't
  be told apart. Those in the set of `none` are beyond what the readings can see.

Carried into the site: probabilities of uncertain bonds; suspected bonds from 0.2, suspected grounds from 0.5; the
soil. Bonds on record as certain keep their state, whatever the readings say; that stands in the notes.

Not looked at: three causes at once, a line that isn't recorded at all, coatings other than recorded, a cause that
changed between two readings. Networks beyond `solver.section_limit` are refused.
"""
_STUDY = """
## How well it does

An invented street of 100 m: eight lines, three set-ups (two direct at 1 kHz, a clamp at 10 kHz), {readings} readings,
{causes} candidate causes. Readings come from a model with sections of half the length, soil x 0.5 to 2, depths +-20 %,
places +-0.3 m in x and in y, 5 % noise, 3 % of the readings wrong by a factor of about three; each cause with figures
of its own (resistance, place within 2 m). A seventh of the readings is kept back. The cause is drawn among those that
change the readings by {visible:g} standard deviations or more, all together: what changes nothing can't be found by
anybody. Seeds {first} to {last}; others were used while the method was made.

| bar | asked | reached |
|---|---|---|
| true cause among the first three | 8 of 10 | {top3} of {n} |
| true cause first | 6 of 10 | {top1} of {n} |
| nothing hidden: no cause above 0.5 | 9 of 10 | {quiet} of {n} |
| 90 % ranges of currents on neighbours hold the truth | 85 to 95 % of 200 | {inside:.0%} of {cases} |
| the same, currents on the lines hooked up | - | {own_inside:.0%} of {own_cases} |
| 90 % ranges of readings kept back hold what was read | - | {held_inside:.0%} of {held_cases} |
| factor on the soil within its 90 % range | - | {soil_inside} of {soil_cases} |

`none` counts as a rank like any cause.

| seed | true cause | changes readings by | rank | probability | causes in its set | first |
|---|---|---|---|---|---|---|
{rows}

| seed, nothing hidden | none | largest cause | its probability |
|---|---|---|---|
{quiet_rows}

**A harder truth.** With a factor of its own (10 %, standard deviation) on the receiver's currents of each line in
each set-up, same seeds, measured once: 10, 10 and 8 of 10, neighbours' currents 92 % of 200. In both that failed the
third bar (seeds 101 and 104) it was the suspected bond L1~T1, which the records themselves give one chance in five:
it takes field from T1 just as a receiver that reads low does, and nothing else was read that tells them apart.

**What was changed after a first run on these seeds.** One thing: that a reading's place along its line is known to
0.3 m only. Sections of half the length had shown the need for it; the counts stayed the same (10, 10 and 8 of 10 for
the harder truth, before and after). Of twelve seeds used while the method was made two had the true cause second,
behind a bond of the same set.

What this can't say: truth and method share their physics and their list of causes, so it shows that the inference is
sound, not that a street is so. Nothing here was measured in the ground.
"""


@dataclass(frozen=True)
class Outcome:
    """What came of one made-up set of readings."""

    seed: int
    truth: Truth
    rank: int
    probability: float
    set_size: int
    first: str
    first_probability: float
    top_cause: str
    top_probability: float
    soil_inside: bool
    neighbour: tuple[int, int]  # currents inside their range, and how many
    own: tuple[int, int]
    held: tuple[int, int]


def outcome(ground: Ground, seed: int, truth: Truth) -> Outcome:
    """Apply made-up readings and compare with the truth."""
    update = apply_readings(ground.site, ground.plan, truth.readings)
    causes, table = update.causes, update.expected
    row = causes[causes["cause_id"] == truth.cause].iloc[0]
    real = causes[causes["kind"] != "none"].iloc[0]
    current = table["kind"].isin(("receiver_ma", "clamp_ma")).to_numpy()
    hooked = np.array([
        not np.isnan(at) and ground.setups[name].hookup.line_id == line
        for name, line, at in zip(table["setup_id"], table["line_id"], table["station_m"], strict=True)
    ])  # fmt: skip
    inside = ((table["current_low_ma"] <= truth.current_ma) & (truth.current_ma <= table["current_high_ma"])).to_numpy()
    beside = np.flatnonzero(current & ~hooked)
    beside = np.random.default_rng([seed, 2]).permutation(beside)[:CASES_A_TRUTH]
    held = (table["used"].eq("predicted") & ~np.isnan(truth.value)).to_numpy()
    read = ((table["expected_low"] <= truth.value) & (truth.value <= table["expected_high"])).to_numpy()
    low, _, high = update.soil_factor
    return Outcome(
        seed=seed,
        truth=truth,
        rank=int(row["rank"]),
        probability=float(row["probability"]),
        set_size=int((causes["set_id"] == row["set_id"]).sum()) if row["set_id"] else 0,
        first=str(causes["cause_id"].iloc[0]),
        first_probability=float(causes["probability"].iloc[0]),
        top_cause=str(real["cause_id"]),
        top_probability=float(real["probability"]),
        soil_inside=bool(low <= truth.soil_factor <= high),
        neighbour=(int(inside[beside].sum()), len(beside)),
        own=(int(inside[current & hooked].sum()), int((current & hooked).sum())),
        held=(int(read[held].sum()), int(held.sum())),
    )


def street() -> Ground:
    """Return the invented street."""
    site = street_site()
    return Ground(site, street_plan(), street_rows(site))


def both(seed: int) -> tuple[Outcome, Outcome]:
    """Return the outcomes of one seed: with a hidden cause, and with none."""
    ground = street()
    hidden = outcome(ground, seed, ground.drawn(seed, visible=VISIBLE, held_out=HELD_OUT))
    none = outcome(ground, seed, ground.truth(seed, None, held_out=HELD_OUT))
    print(seed, hidden.truth.cause, hidden.rank, none.top_probability, flush=True)  # noqa: T201
    return hidden, none


def study(seeds: tuple[int, ...] = SEEDS, *, workers: int = 2) -> tuple[Ground, list[Outcome], list[Outcome]]:
    """Return the street, outcomes with a hidden cause, and outcomes with none."""
    with ProcessPoolExecutor(workers) as pool:
        found = list(pool.map(both, seeds))
    return street(), [hidden for hidden, _ in found], [none for _, none in found]


def document(ground: Ground, hidden: list[Outcome], none: list[Outcome]) -> str:
    """Return the whole document."""
    every = [*hidden, *none]
    counts: dict[str, Any] = {}
    for name, key in (("neighbour", ""), ("own", "own_"), ("held", "held_")):
        inside, cases = (sum(getattr(one, name)[k] for one in every) for k in (0, 1))
        counts |= {f"{key}inside": inside / max(cases, 1), f"{key}cases": cases}
    rows = "\n".join(
        f"| {o.seed} | {o.truth.cause} | {o.truth.apart:.0f} sd | {o.rank} | {o.probability:.2f} | {o.set_size} | "
        f"{o.first} ({o.first_probability:.2f}) |"
        for o in hidden
    )
    quiet = "\n".join(f"| {o.seed} | {o.probability:.2f} | {o.top_cause} | {o.top_probability:.2f} |" for o in none)
    return _HEAD + _STUDY.format(
        readings=len(ground.rows), causes=len(ground.suspects), visible=VISIBLE, first=SEEDS[0], last=SEEDS[-1],
        n=len(hidden), top3=sum(o.rank <= 3 for o in hidden), top1=sum(o.rank == 1 for o in hidden),
        quiet=sum(o.top_probability <= 0.5 for o in none), soil_inside=sum(o.soil_inside for o in every),
        soil_cases=len(every), rows=rows, quiet_rows=quiet, **counts,
    )  # fmt: skip


if __name__ == "__main__":
    workers = int(sys.argv[1]) if len(sys.argv) > 1 else 2
    TARGET.write_text(document(*study(workers=workers)), encoding="utf-8", newline="\n")
