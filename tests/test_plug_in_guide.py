"""The guide's package, installed as a real one (files and metadata), does in every group what the guide says."""

import importlib
import re
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

import corridor
from corridor.commands.main import cli
from corridor.frames import CAUTION
from corridor.plan import find_hookups
from corridor.plugins import GROUPS, list_plugins, load_plugins
from corridor.settings import Settings, load_equipment
from tests.builders import make_site

GUIDE = Path(__file__).parent.parent / "docs" / "plug_ins.md"
RECORDS = "EPSG:32633\nT-1;telecommunications;cable;LINESTRING (0 0, 100 0)\nW-1;water;pipe;LINESTRING (0 4, 50 4)\n"


@pytest.fixture(scope="module", autouse=True)
def installed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """The guide's files on the path, with the metadata that an installer makes of its pyproject.toml."""
    root = tmp_path_factory.mktemp("site_packages")
    files = re.findall(r"<!-- file: (\S+) -->\n```\w+\n(.+?)```", GUIDE.read_text(encoding="utf-8"), flags=re.DOTALL)
    (root / "street_kit").mkdir()
    for name, text in [*files, ("street_kit/__init__.py", "")]:
        (root / name).write_text(text, encoding="utf-8")
    project = tomllib.loads((root / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    metadata = root / "street_kit-1.0.dist-info"
    metadata.mkdir()
    header = f"Metadata-Version: 2.1\nName: {project['name']}\nVersion: {project['version']}\n"
    (metadata / "METADATA").write_text(header, encoding="utf-8")
    groups = [
        f"[{group}]\n" + "".join(f"{name} = {value}\n" for name, value in points.items())
        for group, points in project["entry-points"].items()
    ]
    (metadata / "entry_points.txt").write_text("\n".join(groups), encoding="utf-8")
    sys.path.insert(0, str(root))
    importlib.invalidate_caches()
    yield root
    sys.path.remove(str(root))
    importlib.invalidate_caches()
    for module in [name for name in sys.modules if name.partition(".")[0] == "street_kit"]:
        del sys.modules[module]


@pytest.fixture
def records(tmp_path: Path) -> Path:
    path = tmp_path / "records.wkt"
    path.write_text(RECORDS, encoding="utf-8")
    return path


def test_the_package_has_one_of_each_group_and_is_listed() -> None:
    own = [(p.group, p.name, p.version) for p in list_plugins() if p.package == "street-kit"]
    assert own == [
        ("corridor.commands", "lengths", "1.0"),
        ("corridor.readers", "wkt", "1.0"),
        ("corridor.couplings", "bonds_found.fences", "1.0"),
        ("corridor.hookups", "induction.ends", "1.0"),
        ("corridor.writers", "txt", "1.0"),
    ]
    for group, name, _ in own:
        assert name in load_plugins(group)
    shown = CliRunner().invoke(cli, ["plugins"])
    assert shown.exit_code == 0
    assert [line.split()[:3] for line in shown.output.splitlines() if "street-kit" in line] == [
        [group, name, "street-kit"] for group, name, _ in own
    ]


def test_the_guide_names_every_group() -> None:
    text = GUIDE.read_text(encoding="utf-8")
    assert [group for group in GROUPS if f"| `{group}` |" not in text] == []


def test_the_reader_and_the_command(records: Path) -> None:
    result = CliRunner().invoke(cli, ["lengths", str(records)])
    assert (result.exit_code, result.output) == (0, "telecommunications: 100 m\nwater: 50 m\n")
    assert "lengths" in CliRunner().invoke(cli, ["--help"]).output
    records.write_text("EPSG:32633\nT-1;LINESTRING (0 0, 1 0)\n", encoding="utf-8")
    refused = CliRunner().invoke(cli, ["lengths", str(records)])
    assert refused.exit_code == 1
    assert "line 2: expected 4 fields" in refused.output


def test_the_writer(records: Path, tmp_path: Path) -> None:
    target = tmp_path / "couplings.txt"
    result = CliRunner().invoke(cli, ["find", str(records), "-o", str(target)])
    assert result.exit_code == 0, result.output
    lines = target.read_text(encoding="utf-8").splitlines()
    assert lines[0] == f"# {CAUTION}"
    assert lines[1] == "# parallel_runs"
    assert lines[2].startswith("run_id,line_a,line_b,")


def test_the_coupling_finder() -> None:
    site = make_site(
        lines=[
            {"line_id": "L-1", "utility": "lighting", "geometry": [(0, 0), (50, 0)]},
            {"line_id": "F-1", "utility": "other", "asset": "fence", "geometry": [(20, 0.3), (20, 30)]},
            {"line_id": "F-2", "utility": "other", "asset": "fence", "geometry": [(30, 0.6), (30, 30)]},
        ]
    )
    bonds = corridor.find_couplings(site).bonds_found
    added = bonds[bonds["rule"] == "fences"]
    assert added["bond_id"].tolist() == ["fence:F-1:L-1"]
    assert added[["line_a", "line_b", "measure_a_m", "measure_b_m"]].to_numpy().tolist() == [["F-1", "L-1", 0.0, 20.0]]
    # it reaches the network, as a possible group: suspected bonds join there and no higher
    groups = corridor.bonded_groups(site)
    assert groups.loc[groups["line_ids"] == "F-1 L-1", "level"].tolist() == ["possible"]


def test_the_source_of_hookups() -> None:
    site = make_site(lines=[{"line_id": "T-1", "geometry": [(0, 0), (80, 0)]}])
    hookups = find_hookups(
        site, corridor.find_bonds(site), equipment=load_equipment("large_output"), settings=Settings()
    )
    added = hookups[hookups["at_m"].isin([5.0, 75.0])].set_index("hookup_id")
    assert list(added.index) == ["induction:T-1:5m", "induction:T-1:75m"]
    assert set(added["ready"]) == {"ready"}
