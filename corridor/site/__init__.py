"""Site: what is buried, read from the owners' records."""

from corridor.site.fieldmap import FieldMap, load_fieldmap
from corridor.site.materials import Coating, Material, Metal, coating, coatings, materials, metal
from corridor.site.model import Site, Source
from corridor.site.read import read_site

__all__ = [
    "Coating",
    "FieldMap",
    "Material",
    "Metal",
    "Site",
    "Source",
    "coating",
    "coatings",
    "load_fieldmap",
    "materials",
    "metal",
    "read_site",
]
