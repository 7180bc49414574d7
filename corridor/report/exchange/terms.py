"""Which class of a standard a record belongs to, and which of its codes say what our words say, no more.

INSPIRE: data specification on utility and governmental services (D2.8.III.6, version 3.0): feature types and the code
lists ConditionOfFacilityValue, SewerWaterTypeValue, UtilityNetworkTypeValue and those of appurtenances, as read in
copies. Codes that would claim more than the record (potable water, natural gas, a sanitary sewer) are left out. MUDDI:
conceptual model 23-024, classes as read in a public implementation; it leaves attributes and codes to its profiles, and
ours are used.
"""

from collections.abc import Mapping

import pandas as pd

from corridor.errors import InputError

__all__ = ["CODES", "STANDARDS", "check_standard", "line_class", "structure_class"]

STANDARDS = {
    "inspire": "INSPIRE utility networks (D2.8.III.6)",
    "muddi": "OGC MUDDI conceptual model (23-024)",
}

_CONDUITS = ("duct", "duct_bank", "casing")
_CABLES = ("cable", "tracer_wire", "bare_conductor")
_CABLE_CLASS = {
    "electricity": "ElectricityCable",
    "lighting": "ElectricityCable",
    "traction": "ElectricityCable",
    "telecommunications": "TelecommunicationsCable",
    "traffic_signal": "TelecommunicationsCable",
}
_PIPE_CLASS = {
    "gas": "OilGasChemicalsPipe",
    "oil": "OilGasChemicalsPipe",
    "water": "WaterPipe",
    "reclaimed_water": "WaterPipe",
    "fire_water": "WaterPipe",
    "sewer": "SewerPipe",
    "storm_drain": "SewerPipe",
    "heat": "ThermalPipe",
    "cooling": "ThermalPipe",
}
_NODE_CLASS = {"manhole": "Manhole", "cabinet": "Cabinet", "pole": "Pole"}
_ACCESS = (
    "manhole",
    "handhole",
    "vault",
    "chamber",
    "cabinet",
    "pedestal",
    "cleanout",
    "catch_basin",
    "building_entry",
)

_NETWORKS = {  # UtilityNetworkTypeValue
    "electricity": "electricity",
    "lighting": "electricity",
    "traction": "electricity",
    "telecommunications": "telecommunications",
    "traffic_signal": "telecommunications",
    "gas": "oilGasChemical",
    "oil": "oilGasChemical",
    "water": "water",
    "reclaimed_water": "water",
    "fire_water": "water",
    "sewer": "sewer",
    "storm_drain": "sewer",
    "heat": "thermal",
    "cooling": "thermal",
}
_STATUS = {  # ConditionOfFacilityValue
    "in_service": "functional",
    "out_of_service": "disused",
    "abandoned": "decommissioned",
    "proposed": "projected",
}
_APPURTENANCES = {
    "hydrant": "hydrant",
    "meter": "meter",
    "valve": "systemValve",
    "regulator": "pressureController",
    "luminaire": "streetLight",
    "pedestal": "connectionBox",
    "building_entry": "deliveryPoint",
    "splice": "spliceClosure",
}
CODES: dict[str, Mapping[str, str]] = {
    "currentStatus": _STATUS,
    "operationalStatus": _STATUS,
    "utilityNetworkType": _NETWORKS,
    "networkType": _NETWORKS,
    "sewerWaterType": {"storm_drain": "storm"},
    "waterType": {},
    "oilGasChemicalsProductType": {},
    "telecommunicationsCableMaterialType": {},
    "appurtenanceType": _APPURTENANCES,
}
"""Codes by the standard's attribute and our word; an attribute that isn't here takes our value as it is."""


def check_standard(terms: str) -> None:
    """Refuse a standard that isn't known.

    Raises
    ------
    InputError
        If it is none of ``STANDARDS``.
    """
    if terms not in STANDARDS:
        message = f"expected the terms of a standard ({', '.join(STANDARDS)}), got {terms!r}"
        raise InputError(message)


def line_class(terms: str, utility: pd.Series, asset: pd.Series) -> pd.Series:
    """Return the standard's class of each line, by what it carries and what is buried.

    Parameters
    ----------
    terms : str
        One of ``STANDARDS``.
    utility, asset : Series
        Columns of the table ``lines``.
    """
    if terms == "muddi":
        return asset.isin(_CONDUITS).map({True: "Container", False: "NetworkLink"})
    cable = utility.map(_CABLE_CLASS).where(asset.isin(_CABLES))
    pipe = utility.map(_PIPE_CLASS).where(asset.eq("pipe"))
    duct = pd.Series("Duct", index=asset.index, dtype=object).where(asset.isin(_CONDUITS))
    return cable.fillna(pipe).fillna(duct).fillna("UtilityLink")


def structure_class(terms: str, kind: pd.Series) -> pd.Series:
    """Return the standard's class of each structure, by its kind."""
    if terms == "muddi":
        return kind.isin(_ACCESS).map({True: "Access", False: "NetworkNode"})
    return kind.map(_NODE_CLASS).fillna("Appurtenance")
