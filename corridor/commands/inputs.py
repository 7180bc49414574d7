"""Reading what the options name."""

from collections.abc import Sequence
from dataclasses import dataclass

from corridor.settings import Settings, load_settings
from corridor.site import Site, read_site
from corridor.site.work_area import with_work_area

__all__ = ["Inputs", "load_inputs"]


@dataclass(frozen=True)
class Inputs:
    """A site and the settings it was read with."""

    site: Site
    settings: Settings


def load_inputs(
    paths: Sequence[str],
    *,
    fieldmap: str | None,
    crs: str | None,
    settings: str | None,
    work_area: str | None = None,
) -> Inputs:
    """Read settings, records and the work area that the options name.

    Raises
    ------
    CorridorError
        If any of them can't be used; the message names it.
    """
    chosen = load_settings(settings)
    site = read_site(list(paths), fieldmap=fieldmap, crs=crs, settings=chosen)
    if work_area is not None:
        site = with_work_area(site, work_area, crs=crs)
    return Inputs(site=site, settings=chosen)
