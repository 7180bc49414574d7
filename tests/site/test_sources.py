"""Files in: layers as frames, bytes as a hash."""

import hashlib
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from corridor.errors import InputError
from corridor.site import read_site
from corridor.site.sources import file_labels, read_layers, read_ogr, source_of
from tests.site.records import FILE, checked, frame, line, write


def test_layers_come_by_name_with_tables_as_frames(tmp_path: Path) -> None:
    path = write(tmp_path, lines=[line()], terminations=[{"structure_id": "S", "line_id": "W-1"}])
    layers = read_layers(path)
    assert sorted(layers) == ["lines", "terminations"]
    assert layers["terminations"].geometry.isna().all()
    assert layers["terminations"].crs is None


def test_a_geometry_column_of_another_name_is_known(tmp_path: Path) -> None:
    frame([line()]).to_file(tmp_path / FILE, layer="lines", layer_options={"GEOMETRY_NAME": "shape"})
    assert read_layers(tmp_path / FILE)["lines"].geometry.name == "geometry"


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="does not exist"):
        read_layers(tmp_path / "none.gpkg")


def test_no_vector_file_is_refused(tmp_path: Path) -> None:
    for name, data in (("a.gpkg", b"not a database"), ("b.png", b"\x89PNG")):
        (tmp_path / name).write_bytes(data)
        with pytest.raises(InputError, match=f"expected a vector file .*{name}"):
            read_layers(tmp_path / name)


def test_a_file_without_layers_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write(tmp_path, lines=[line()])
    monkeypatch.setattr("corridor.site.sources.pyogrio.list_layers", lambda _: [])
    with pytest.raises(InputError, match="at least one layer"):
        read_layers(path)


class Point:
    """An entry point that gives a reader."""

    group = "corridor.readers"

    def __init__(self, reader: Any) -> None:
        self.load = lambda: reader


def plug_in(monkeypatch: pytest.MonkeyPatch, reader: Any) -> None:
    monkeypatch.setattr("corridor.site.sources.plugin_points", lambda group: {"xyz": Point(reader)})


def test_a_plug_in_reads_its_suffix(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    plug_in(monkeypatch, lambda path: {"lines": frame([line(path.stem)]), "notes": pd.DataFrame({"a": [1]})})
    (tmp_path / "W-7.XYZ").touch()
    layers = read_layers(tmp_path / "W-7.XYZ")
    assert layers["lines"]["line_id"].tolist() == ["W-7"]
    assert layers["notes"].geometry.isna().all()
    assert checked(read_site(tmp_path / "W-7.XYZ")).lines["line_id"].tolist() == ["W-7"]


def test_a_plug_in_that_fails_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    plug_in(monkeypatch, lambda path: {}[path])
    (tmp_path / "a.xyz").touch()
    with pytest.raises(InputError, match=r"a\.xyz to be readable by the plug-in for 'xyz', which failed: KeyError"):
        read_layers(tmp_path / "a.xyz")


def test_ogr_refuses_what_it_cant_read(tmp_path: Path) -> None:
    (tmp_path / "a.gpkg").write_bytes(b"nothing")
    with pytest.raises(InputError, match="expected a vector file"):
        read_ogr(tmp_path / "a.gpkg")


def test_the_hash_is_that_of_the_bytes(tmp_path: Path) -> None:
    path = tmp_path / "a.bin"
    path.write_bytes(b"corridor")
    source = source_of(path, ["lines"])
    assert source.sha256 == hashlib.sha256(b"corridor").hexdigest()
    assert source.layers == ("lines",)
    assert source.modified.endswith("+00:00")


def test_a_folder_is_hashed_file_by_file(tmp_path: Path) -> None:
    frame([line()]).rename(columns=lambda name: name[:10]).to_file(tmp_path / "lines.shp")
    first = source_of(tmp_path, []).sha256
    (tmp_path / "lines.cpg").write_text("UTF-8 ")
    assert source_of(tmp_path, []).sha256 != first
    assert "lines" in read_layers(tmp_path)


def test_a_file_that_cant_be_opened_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(OSError, match="none"):
        source_of(tmp_path / "none", [])


def test_files_of_one_name_are_told_apart() -> None:
    paths = [Path("x/a.gpkg"), Path("y/a.gpkg"), Path("y/b.gpkg")]
    assert list(file_labels(paths).values()) == ["x/a.gpkg", "y/a.gpkg", "b.gpkg"]
