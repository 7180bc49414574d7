"""Words and kinds of columns that several result tables share."""

from corridor.dictionary.schema import Column

__all__ = ["GRADES", "MODES", "current", "flag", "frequency", "integer", "metres", "real", "share", "text"]

GRADES = ("readable", "pulled", "masked", "faint", "untraceable")
MODES = ("direct", "clamp", "induction")


def text(name: str, meaning: str, *, required: bool = False, vocabulary: tuple[str, ...] = ()) -> Column:
    """Return a column of text."""
    return Column(name=name, meaning=meaning, required=required, vocabulary=vocabulary)


def real(name: str, meaning: str, *, unit: str = "", decimals: int = 4, minimum: float | None = None) -> Column:
    """Return a column of numbers."""
    return Column(name=name, kind="real", unit=unit, decimals=decimals, minimum=minimum, meaning=meaning)


def integer(name: str, meaning: str, *, minimum: int | None = None) -> Column:
    """Return a column of whole numbers."""
    return Column(name=name, kind="integer", minimum=minimum, meaning=meaning)


def flag(name: str, meaning: str) -> Column:
    """Return a column of true and false."""
    return Column(name=name, kind="flag", meaning=meaning)


def metres(name: str, meaning: str, *, decimals: int = 3) -> Column:
    """Return a column of lengths."""
    return real(name, meaning, unit="m", decimals=decimals)


def share(name: str, meaning: str) -> Column:
    """Return a column of shares or probabilities."""
    return real(name, meaning, minimum=0)


def current(name: str, meaning: str) -> Column:
    """Return a column of currents."""
    return real(name, meaning, unit="mA", minimum=0)


def frequency(meaning: str = "Frequency of the tone.") -> Column:
    """Return the column of frequencies."""
    return real("frequency_hz", meaning, unit="Hz", decimals=1)
