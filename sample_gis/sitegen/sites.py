"""The sample sites by name."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from shapely import unary_union
from shapely.geometry import Polygon

from . import district, downtown, zone
from .draft import Draft
from .dressing import dress
from .raw import write_raw
from .write import Areas, layers, write_site


@dataclass(frozen=True)
class Recipe:
    """How to make a site: a number that sets its chance apart, who builds and what it shows."""

    stream: int
    build: Callable[[Draft], Areas]
    about: str
    messy: bool


SITES = {
    "downtown_block": Recipe(
        1,
        downtown.build,
        "A downtown block: four streets, an alley, services into twelve buildings, one work area, messy attributes.",
        messy=True,
    ),
    "bonded_district": Recipe(
        2,
        district.build,
        "A district of two by two streets: bonds of every evidence and state, isolating joints, several bonded groups.",
        messy=False,
    ),
    "excavation_zone": Recipe(
        3,
        zone.build,
        "Six blocks with a dig along the middle street in three phases, surfaces with their closures, two soils.",
        messy=False,
    ),
}


RAW = {"downtown_raw": "downtown_block"}  # the same site as its owners would send it


def draft_site(name: str, seed: int) -> tuple[Draft, Areas]:
    """Draw a site by name from a seed, attributes dressed, nothing written."""
    recipe = SITES[name]
    draft = Draft(np.random.default_rng([seed, recipe.stream]))
    areas = recipe.build(draft)
    dress(draft, unary_union([Polygon(row["ring"]) for row in areas.work_area]))
    return draft, areas


def make_site(name: str, folder: Path, *, seed: int) -> Path:
    """Make a site by name below a folder and return the path of its GeoPackage, or of a raw one's folder."""
    if name in RAW:
        draft, areas = draft_site(RAW[name], seed)
        write_raw(layers(draft, areas, messy=True), folder / name)
        return folder / name
    recipe = SITES[name]
    draft, areas = draft_site(name, seed)
    return write_site(draft, areas, folder / name, seed=seed, about=recipe.about, messy=recipe.messy)
