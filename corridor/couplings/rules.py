"""Rules by which a bond is inferred at a structure, as data."""

from dataclasses import dataclass

__all__ = ["RULES", "BondRule"]

_ENTRY = ("building_entry",)
_RACKS = ("manhole", "vault", "chamber")
_ELECTRICITY = ("electricity",)
_WATER = ("water", "fire_water")
_TELECOMS = ("telecommunications",)
_ROADSIDE = ("lighting", "traffic_signal")


@dataclass(frozen=True, kw_only=True)
class BondRule:
    """A bond between a line of ``first`` and a line of ``second`` (utilities) at a structure of one of ``kinds``.

    ``passing``: a line that passes counts too, not only one that ends there. ``cables``: cables only.
    """

    name: str
    kinds: tuple[str, ...]
    first: tuple[str, ...]
    second: tuple[str, ...]
    kind: str
    probability: float
    source: str
    evidence: str = "inferred"
    passing: bool = False
    cables: bool = False


RULES = (
    BondRule(
        name="service_entrance_water",
        kinds=_ENTRY,
        first=_ELECTRICITY,
        second=_WATER,
        kind="shared_ground",
        probability=0.8,
        source="metal water piping bonded to the service: NEC 250.104(A), via trade pages; probability: estimate",
    ),
    BondRule(
        name="service_entrance_communications",
        kinds=_ENTRY,
        first=_ELECTRICITY,
        second=_TELECOMS,
        kind="shared_ground",
        probability=0.8,
        source="communications bonded to the service ground: NEC 800.100, from memory; probability: estimate",
    ),
    BondRule(
        name="service_entrance_gas",
        kinds=_ENTRY,
        first=_ELECTRICITY,
        second=("gas",),
        kind="shared_ground",
        probability=0.6,
        source="metal gas piping bonded where likely to be energised: NEC 250.104(B), via trade pages; "
        "probability: estimate",
    ),
    BondRule(
        name="multi_grounded_neutral",
        kinds=("transformer", "substation"),
        first=_ELECTRICITY,
        second=_ELECTRICITY,
        kind="neutral",
        probability=0.9,
        source="neutrals and sheaths on one ground: common practice; probability: estimate",
    ),
    BondRule(
        name="racked_electricity_cables",
        kinds=_RACKS,
        first=_ELECTRICITY,
        second=_ELECTRICITY,
        kind="sheath",
        probability=0.8,
        source="sheaths bonded to the rack ground: engineering estimate",
        passing=True,
        cables=True,
    ),
    BondRule(
        name="racked_telecommunications_cables",
        kinds=_RACKS,
        first=_TELECOMS,
        second=_TELECOMS,
        kind="sheath",
        probability=0.6,
        source="sheaths bonded to the rack ground: engineering estimate",
        passing=True,
        cables=True,
    ),
    BondRule(
        name="joint_manhole",
        kinds=_RACKS,
        first=_ELECTRICITY,
        second=_TELECOMS,
        kind="structure",
        probability=0.3,
        source="racks of two utilities in one structure: engineering estimate",
        evidence="suspected",
        passing=True,
        cables=True,
    ),
    BondRule(
        name="shared_cabinet",
        kinds=("cabinet",),
        first=_ROADSIDE,
        second=_ROADSIDE,
        kind="shared_ground",
        probability=0.7,
        source="one ground bar in the cabinet: common practice; probability: estimate",
    ),
)
