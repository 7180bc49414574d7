"""Records beyond the limits of the settings are refused with their size, before the work is done."""

from pathlib import Path

import pytest

from corridor import read_site
from corridor.errors import InputError
from corridor.settings import Settings, SiteSettings
from corridor.site import bounds
from corridor.site.bounds import refuse_large_files
from tests.site.records import course, line, write


def limited(**limits: float) -> Settings:
    return Settings(site=SiteSettings(**limits))  # type: ignore[arg-type]


@pytest.fixture
def records(tmp_path: Path) -> Path:
    bent = course((0, 0), (10, 0), (20, 1), (30, 0))
    return write(tmp_path, lines=[line("W-1", geometry=bent), line("W-2", (0, 5), (30, 5))])


def test_at_the_limit_they_are_read(records: Path) -> None:
    assert len(read_site(records, settings=limited(feature_limit=2, vertex_limit=6)).lines) == 2


@pytest.mark.parametrize(
    ("limits", "words"),
    [
        (
            {"feature_limit": 1},
            r"at most 1 features \(settings, site\.feature_limit\), got 2, which take about 0\.017 MB",
        ),
        ({"vertex_limit": 5}, r"at most 5 vertices \(settings, site\.vertex_limit\), got 6, which take about"),
        (
            {"file_limit_mb": 0.01},
            r"at most 0\.01 MB \(settings, site\.file_limit_mb\), got 0\.\d+ MB in 1 files, which",
        ),
    ],
)
def test_beyond_they_are_refused(records: Path, limits: dict[str, float], words: str) -> None:
    with pytest.raises(InputError, match=words):
        read_site(records, settings=limited(**limits))


def test_a_file_too_large_is_not_opened(records: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("corridor.site.read.open_layers", lambda *_: pytest.fail("opened"))
    with pytest.raises(InputError, match=r"site\.file_limit_mb"):
        read_site(records, settings=limited(file_limit_mb=0.01))


def test_folders_count_with_all_their_files_and_what_is_not_there_is_told_later(tmp_path: Path) -> None:
    folder = tmp_path / "records.gdb"
    (folder / "deeper").mkdir(parents=True)
    for place in (folder, folder / "deeper"):
        (place / "part").write_bytes(bytes(6000))
    assert bounds._size(folder) == 12_000
    refuse_large_files([tmp_path / "nowhere.gpkg"], SiteSettings(file_limit_mb=1e-9))
    with pytest.raises(InputError, match=r"got 0\.012 MB in 1 files, which take up to 0\.48 MB of memory"):
        refuse_large_files([folder], SiteSettings(file_limit_mb=0.01))
