"""What is named as records and is none, or is of another kind than it says."""

import os
from collections.abc import Callable
from pathlib import Path

from shapely import LineString

from benchmarks.fuzz.files import write_scene
from benchmarks.fuzz.scene import Case, X, Y

__all__ = ["odd_files"]


def odd_files(case: Case) -> None:
    """Name what is no file of records, or is one of another kind than it says."""
    rng = case.rng
    write_scene(case, "gpkg")
    good, folder = case.files[0], case.folder
    name = rng.choice(sorted(_ODD))
    case.tell(name)
    case.intact = case.measured = False
    case.written = {}  # counted by nobody
    path = _ODD[name](folder, good)
    case.files = [path, good] if rng.random() < 0.3 else [path]


def _text_file(name: str, text: str) -> Callable[[Path, Path], Path]:
    def make(folder: Path, _: Path) -> Path:
        (folder / name).write_text(text, encoding="utf-8")
        return folder / name

    return make


def _empty_folder(folder: Path, _: Path) -> Path:
    (folder / "records.gdb").mkdir()
    return folder / "records.gdb"


def _pipe(folder: Path, _: Path) -> Path:
    os.mkfifo(folder / "pipe.gpkg")
    return folder / "pipe.gpkg"


def _loop(folder: Path, _: Path) -> Path:
    (folder / "loop.gpkg").symlink_to(folder / "loop.gpkg")
    return folder / "loop.gpkg"


def _renamed(suffix: str) -> Callable[[Path, Path], Path]:
    def make(_: Path, good: Path) -> Path:
        return good.rename(good.with_suffix(suffix))

    return make


_SPOT = LineString([(X, Y), (X + 9, Y)]).wkt
_ODD: dict[str, Callable[[Path, Path], Path]] = {
    "missing": lambda folder, _: folder / "nowhere.gpkg",
    "long name": lambda folder, _: folder / ("n" * 300 + ".gpkg"),
    "name with a null": lambda folder, _: folder / "a\x00b.gpkg",
    "empty folder": _empty_folder,
    "pipe": _pipe,
    "device": lambda *_: Path("/dev/null"),
    "link to itself": _loop,
    "letter": _text_file("letter.gpkg", "Dear all, the records will follow."),
    "letter as GeoJSON": _text_file("letter.geojson", "Dear all"),
    "deep GeoJSON": _text_file("deep.geojson", '{"type":"FeatureCollection","features":[' + '{"a":' * 100_000),
    "deep arrays": _text_file(
        "lines.geojson",
        '{"type":"Feature","properties":{},"geometry":{"type":"LineString","coordinates":'
        + "[" * 50_000
        + "]" * 50_000
        + "}}",
    ),
    "GeoJSON of no features": _text_file("lines.geojson", '{"type":"FeatureCollection","features":[]}'),
    "GeoJSON of strange features": _text_file(
        "lines.geojson", '{"type":"FeatureCollection","features":[1,null,"x",{"type":"Feature"},{"type":"x"}]}'
    ),
    "keys twice": _text_file(
        "lines.geojson",
        '{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"a":1,"a":2,"A":3},"geometry'
        '":{"type":"LineString","coordinates":[[3,54],[3.001,54]]}}]}',
    ),
    "long numbers": _text_file(
        "lines.geojson",
        '{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"depth_m":1'
        + "0" * 400
        + '},"geometry":{"type":"LineString","coordinates":[[3,54],[3.001,54]]}}]}',
    ),
    "words as coordinates": _text_file(
        "lines.geojson",
        '{"type":"FeatureCollection","features":[{"type":"Feature","properties":{},"geometry":{"type":"LineSt'
        'ring","coordinates":[["3","x"],[null,54],[3]]}}]}',
    ),
    "virtual file": _text_file(
        "lines.vrt",
        '<OGRVRTDataSource><OGRVRTLayer name="lines">'
        '<SrcDataSource relativeToVRT="1">records.gpkg</SrcDataSource><SrcLayer>lines</SrcLayer>'
        "</OGRVRTLayer></OGRVRTDataSource>",
    ),
    "virtual file of the net": _text_file(
        "lines.vrt",
        '<OGRVRTDataSource><OGRVRTLayer name="lines">'
        "<SrcDataSource>/vsicurl/http://127.0.0.1:9/x.gpkg</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>",
    ),
    "virtual file under another name": _text_file(
        "lines.gpkg",
        '<OGRVRTDataSource><OGRVRTLayer name="lines">'
        '<SrcDataSource relativeToVRT="1">records.gpkg</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>',
    ),
    "entities": _text_file(
        "lines.gml",
        '<?xml version="1.0"?><!DOCTYPE a [<!ENTITY a "aaaaaaaaaa">'
        '<!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;"><!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;&b;&b;">'
        '<!ENTITY d "&c;&c;&c;&c;&c;&c;&c;&c;"><!ENTITY e "&d;&d;&d;&d;&d;&d;&d;&d;">'
        '<!ENTITY f "&e;&e;&e;&e;&e;&e;&e;&e;"><!ENTITY g "&f;&f;&f;&f;&f;&f;&f;&f;">'
        '<!ENTITY h "&g;&g;&g;&g;&g;&g;&g;&g;">]>'
        '<gml:FeatureCollection xmlns:gml="http://www.opengis.net/gml"><gml:featureMember><lines>'
        "<line_id>&h;</line_id></lines></gml:featureMember></gml:FeatureCollection>",
    ),
    "entity of a file": _text_file(
        "lines.kml",
        '<?xml version="1.0"?><!DOCTYPE a [<!ENTITY x SYSTEM "file:///etc/passwd">]>'
        '<kml xmlns="http://www.opengis.net/kml/2.2"><Document><Placemark><name>&x;</name><LineString>'
        "<coordinates>3,54 3.01,54</coordinates></LineString></Placemark></Document></kml>",
    ),
    "network link": _text_file(
        "lines.kml",
        '<kml xmlns="http://www.opengis.net/kml/2.2"><NetworkLink><Link>'
        "<href>http://127.0.0.1:9/x.kml</href></Link></NetworkLink></kml>",
    ),
    "CSV": _text_file("lines.csv", f'WKT,line_id\n"{_SPOT}",A\nnonsense,B\n,C\n'),
    "GeoPackage as GeoJSON": _renamed(".geojson"),
    "GeoPackage as shapefile": _renamed(".shp"),
    "GeoPackage as zip": _renamed(".zip"),
    "GeoPackage as parquet": _renamed(".parquet"),
    "GeoPackage without ending": _renamed(""),
}
