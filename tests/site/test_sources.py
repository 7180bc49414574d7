"""Files in: layers as frames, bytes as a hash."""

import hashlib
from pathlib import Path

import pytest

from corridor.errors import InputError
from corridor.site.sources import file_labels, read_layers, source_of
from tests.site.records import FILE, frame, line, write


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
