"""The data dictionary: every table at a public border, described once, as data."""

from corridor.dictionary.inputs import (
    ASSETS,
    EVIDENCE,
    GONE,
    INPUT_TABLES,
    STRUCTURE_KINDS,
    UTILITIES,
    YES_NO,
)
from corridor.dictionary.results import GRADES, MODES, RESULT_TABLES
from corridor.dictionary.schema import Column, Table

__all__ = [
    "ASSETS",
    "EVIDENCE",
    "GONE",
    "GRADES",
    "INPUT_TABLES",
    "MODES",
    "RESULT_TABLES",
    "STRUCTURE_KINDS",
    "UTILITIES",
    "YES_NO",
    "Column",
    "Table",
]
