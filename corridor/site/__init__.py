"""Site: what is buried, read from the owners' records."""

from corridor.site.fieldmap import FieldMap, load_fieldmap
from corridor.site.model import Site, Source
from corridor.site.read import read_site
from corridor.site.tables import Coating, Material, coatings, materials

__all__ = [
    "Coating",
    "FieldMap",
    "Material",
    "Site",
    "Source",
    "coatings",
    "load_fieldmap",
    "materials",
    "read_site",
]
