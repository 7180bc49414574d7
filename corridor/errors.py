"""Every error that corridor raises on purpose; all derive from CorridorError and from a built-in."""

__all__ = [
    "CorridorError",
    "CrsError",
    "DomainError",
    "EquipmentError",
    "FieldMapError",
    "HookUpError",
    "InputError",
    "OutputError",
    "PlugInError",
    "SettingsError",
    "SolverError",
]


class CorridorError(Exception):
    """Root of the errors that a user can act on; the message is one clear sentence."""


class InputError(CorridorError, ValueError):
    """A file, layer, row or value can't be used; the message names it."""


class CrsError(InputError):
    """A coordinate reference system is missing, differs, or isn't in metres."""


class FieldMapError(InputError):
    """A field map names something that isn't there, or is malformed."""


class PlugInError(InputError):
    """A plug-in failed, isn't there, or gave what its protocol doesn't allow; the message names it."""


class SettingsError(CorridorError, ValueError):
    """A settings or equipment file is malformed; the message lists every mistake."""


class EquipmentError(SettingsError):
    """An equipment profile is unknown or can't do what was asked."""


class HookUpError(CorridorError, LookupError):
    """A hook-up doesn't exist or can't be made; the message names the nearest ones."""


class DomainError(CorridorError, ValueError):
    """A value lies outside the range in which a formula holds."""


class SolverError(CorridorError, ArithmeticError):
    """The tone network has no unique solution."""


class OutputError(CorridorError, OSError):
    """A result can't be written."""
