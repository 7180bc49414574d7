"""Write docs/planning_study.md: plans chosen on draws and on the nominal case, both judged on fresh draws.

Run it in the environment of the tests: ``python docs/make_planning.py``; it takes some minutes on two cores.
"""

import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from corridor import load_equipment, read_site
from corridor.draws import draw, unknowns_of
from corridor.plan.ensemble import Ensemble, ensemble_of_cases, ensemble_of_draws
from corridor.plan.grading import grade_hookups
from corridor.plan.partner_gate import gate_partners
from corridor.plan.prepare import connect, hookup_of, prepare
from corridor.plan.setups.choice import Choice, choose
from corridor.plan.setups.judge import readable_lengths
from corridor.settings import Settings
from corridor.tone.cases import CASES
from corridor.tone.solve import solve_tone

DOCS = Path(__file__).parent
RECORDS = DOCS.parent / "sample_gis/downtown_block/downtown_block.gpkg"
FRESH, GEOMETRIES, SEED = 200, 25, 1000  # the draws that plans are judged on; those they are made on have seed 0
SETTINGS = Settings()
EQUIPMENT = load_equipment(None)

TEXT = """# Plans judged on fresh draws

Made by `make_planning.py` on the sample downtown block: {sections} sections, {hookups} hook-ups that are ready
(at {points} access points, and induction spots), {candidates} candidates (a hook-up at one of {frequencies}
frequencies and an output). Options are those that differ in some draw and pass the gate on bleed partners.
Targets that tone can reach:
{length:.0f} m.

## Exact choice against choosing one by one

| chosen on | options | set-ups, exact | gap | set-ups, one by one | solver, s |
|---|---|---|---|---|---|
{choices}

## Chosen on draws against chosen on the nominal case

Both judged on the same {fresh} fresh draws ({geometries} redrawn networks, another seed): length graded readable, m.

| plan | set-ups | it expects | median | 10th percentile | mean |
|---|---|---|---|---|---|
{judged}

"It expects" is the mean over the draws it was chosen on. The nominal plan expects what it can't keep: it is chosen for
the one site that the records describe. The ensemble plan is the better one where the numbers of its row are higher;
both stay below what they expect, since the best of many noisy means is too high ({draws} draws).
"""


@dataclass(frozen=True)
class Judged:
    """One plan and its lengths."""

    name: str
    choice: Choice
    seconds: float
    expects_m: float
    lengths_m: NDArray[np.float64]

    def rows(self) -> tuple[str, str]:
        """Return its rows of both tables."""
        cover = self.choice.cover
        first = (
            f"| {self.name} | {len(self.choice.options)} | {cover.number} | {cover.gap:g} | "
            f"{self.choice.greedy.number} | {cover.seconds:.1f} |"
        )
        low = float(np.quantile(self.lengths_m, 0.1))
        second = (
            f"| {self.name} | {cover.number} | {self.expects_m:.0f} | {np.median(self.lengths_m):.0f} | "
            f"{low:.0f} | {self.lengths_m.mean():.0f} |"
        )
        return first, second


def main() -> None:
    """Make both plans, judge them, write the page."""
    site = read_site(RECORDS)
    area = site.work_area.geometry.union_all()
    wanted = site.lines[site.lines.intersects(area) & ~site.lines["status"].isin(["proposed", "removed"])]["line_id"]
    shared = {"equipment": EQUIPMENT, "settings": SETTINGS}
    connected = connect(site, lines=wanted, area=area, **shared)
    hookups = connected.hookups
    ready = hookups[(hookups["ready"] == "ready") & hookups["line_id"].isin(set(connected.network.spans["line_id"]))]
    frequencies = EQUIPMENT.common_frequencies_hz
    prepared = prepare(
        connected, [hookup_of(row) for _, row in ready.iterrows()], ready["hookup_id"].tolist(),
        frequencies_hz=frequencies, **shared,
    )  # fmt: skip
    solution = solve_tone(
        prepared.model, prepared.drives, CASES, frequencies_hz=frequencies, soil=prepared.soil, equipment=EQUIPMENT,
        workers=SETTINGS.solver.workers,
    )  # fmt: skip
    grading = grade_hookups(
        site, ready, solution, lines=wanted.tolist(), joined=connected.joined, area=area, **shared
    )  # fmt: skip
    barred = gate_partners(
        solution, ready, site, levels_ma=EQUIPMENT.transmitter.levels_ma, safety=SETTINGS.safety
    )  # fmt: skip
    unknowns = unknowns_of(prepared.model, prepared.soil, site.lines, settings=SETTINGS.draws)

    def drawn(count: int, geometries: int, seed: int) -> Ensemble:
        draws = draw(unknowns, count=count, geometries=geometries, seed=seed)
        return ensemble_of_draws(
            site, prepared, ready, draws, lines=sorted(grading.predictions), joined=connected.joined, area=area,
            **shared,
        )  # fmt: skip

    nominal = ensemble_of_cases(grading.predictions, solution, ready, **shared).part([0])
    own = drawn(SETTINGS.draws.count, SETTINGS.draws.geometries, SETTINGS.seed)
    sharp = SETTINGS.model_copy(update={"plan": SETTINGS.plan.model_copy(update={"near": 0.0})})
    chosen_on = {
        "the nominal case": (nominal, SETTINGS),
        f"{SETTINGS.draws.count} draws": (own, SETTINGS),
        f"{SETTINGS.draws.count} draws, only the very best (near = 0)": (own, sharp),
    }
    fresh = drawn(FRESH, GEOMETRIES, SEED)
    judged = []
    for name, (ensemble, settings) in chosen_on.items():
        start = time.perf_counter()
        choice = choose(
            ensemble, ready, site.lines, area=area, barred=barred, equipment=EQUIPMENT, settings=settings
        )  # fmt: skip
        took = time.perf_counter() - start
        expects = float(readable_lengths(choice, ensemble, settings=SETTINGS).mean())
        judged.append(Judged(name, choice, took, expects, readable_lengths(choice, fresh, settings=SETTINGS)))
    choices, lengths = zip(*(one.rows() for one in judged), strict=True)
    (DOCS / "planning_study.md").write_text(
        TEXT.format(
            sections=prepared.model.n_sections,
            hookups=len(ready),
            points=ready["structure_id"].dropna().nunique(),
            candidates=len(ready) * len(frequencies) * len(EQUIPMENT.transmitter.levels_ma),
            frequencies=len(frequencies),
            length=judged[-1].choice.options.pieces.length_m.sum(),
            choices="\n".join(choices),
            fresh=FRESH,
            geometries=GEOMETRIES,
            judged="\n".join(lengths),
            draws=SETTINGS.draws.count,
        ),
        encoding="utf-8",
    )


if __name__ == "__main__":
    main()
