"""How much tone arrives: the electromagnetic solution, the receiver's readings, grades and bleed paths."""

from corridor.tone.electrodes import rod_resistance
from corridor.tone.hookup import HookUp
from corridor.tone.internal import internal_impedance
from corridor.tone.pairs import mutual_impedance

__all__ = ["HookUp", "internal_impedance", "mutual_impedance", "rod_resistance"]
