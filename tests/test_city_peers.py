"""Invented cities, and ours beside another way on one of them: numpy over the candidates of shapely's tree."""

from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pandas as pd
import pytest
import shapely

from corridor.couplings import find_bonds
from corridor.settings import Settings

ROOT = Path(__file__).parent.parent


@pytest.fixture(scope="module")
def modules() -> Any:
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(str(ROOT / "benchmarks"))
        import cities  # noqa: PLC0415
        import city_peers  # noqa: PLC0415
        import city_ways  # noqa: PLC0415

        yield cities, city_peers, city_ways


@pytest.fixture(scope="module")
def arrays(modules: tuple[ModuleType, ...]) -> dict[str, Any]:
    return modules[1].city_arrays(1500)


def test_a_city_is_made_by_its_seed(modules: tuple[ModuleType, ...]) -> None:
    one, same, other = (modules[0].city(1500, seed=seed).lines for seed in (3, 3, 4))
    pd.testing.assert_frame_equal(one, same)
    assert not one.geometry.equals(other.geometry)
    assert one["line_id"].is_unique
    vertices = int(shapely.get_num_coordinates(one.geometry.to_numpy()).sum())
    assert 0.7 * 1500 < vertices - len(one) < 1.3 * 1500


def test_recorded_bonds_change_nothing_else_of_a_city(modules: tuple[ModuleType, ...]) -> None:
    plain, some, same = (modules[0].city(1500, recorded=share) for share in (0.0, 0.3, 0.3))
    for layer in ("lines", "structures"):
        pd.testing.assert_frame_equal(getattr(plain, layer), getattr(some, layer))
    pd.testing.assert_frame_equal(some.bonds, same.bonds)
    assert plain.bonds.empty
    assert set(some.bonds["line_a"]) | set(some.bonds["line_b"]) <= set(some.lines["line_id"])
    assert set(some.bonds["state"].fillna("")) == {"", "closed", "open", "unknown"}
    named, placed = some.bonds["structure_id"].notna(), ~some.bonds.geometry.isna()
    assert (named | placed).all()
    assert (named & placed).any()
    assert not (named == placed).all()


def test_recorded_bonds_of_a_city_are_where_their_lines_end(modules: tuple[ModuleType, ...]) -> None:
    site = modules[0].city(1500, recorded=0.3).site()
    found = find_bonds(site)
    recorded = found[found["rule"] == "recorded"]
    assert set(recorded["bond_id"]) == set(site.bonds["bond_id"])
    courses = site.lines.set_index("line_id").geometry
    for side in ("line_a", "line_b"):
        apart_m = shapely.distance(courses[recorded[side]].to_numpy(), recorded.geometry.to_numpy())
        assert apart_m.max() <= Settings().site.structure_reach_m
    plain = find_bonds(modules[0].city(1500).site())
    known, others, ruled = (
        {(a, b) for a, b in zip(frame["line_a"], frame["line_b"], strict=True) if a.startswith("Es")}
        for frame in (recorded, found.drop(recorded.index), plain)
    )
    assert len(known) > 20
    assert not known & others  # each took the place of one that a rule suggests
    assert known <= ruled


def test_ours_are_those_of_numpy_and_a_tree(modules: tuple[ModuleType, ...], arrays: dict[str, Any]) -> None:
    found = []
    for way in ("ours", "numpy_tree", "ours_public", "ours_recorded"):
        once, told = modules[2].WAYS[way](arrays)
        found.append(told(once()))
    for name, keys in (("runs", ["length", "mean"]), ("crossings", ["px", "py"]), ("bonds", [])):
        ours, *others = (part[name] for part in found if name in part)
        columns = [*(("point",) if name == "bonds" else ()), "a_line", "b_line", *keys]
        assert len(ours) > 100
        for other in others:
            one, two = (f[columns].astype(float).round(3).sort_values(columns).to_numpy() for f in (ours, other))
            np.testing.assert_allclose(one, two, atol=2e-3)


def test_floors_hold_every_pair_of_ours(modules: tuple[ModuleType, ...], arrays: dict[str, Any]) -> None:
    counts = [len(modules[2].WAYS[way](arrays)[0]()[0]) for way in ("box_query", "dwithin_join")]
    assert counts[0] >= counts[1] > len(arrays["x"])


def test_the_readme_tells_how_to_run_them() -> None:
    text = (ROOT / "benchmarks" / "README.md").read_text(encoding="utf-8")
    assert [
        word for word in ("city_peers.py", "cities.py", "--segments", "--skip", "--write") if word not in text
    ] == []
