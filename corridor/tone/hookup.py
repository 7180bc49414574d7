"""A hook-up: where and how the tone is put on a line."""

from dataclasses import dataclass
from typing import Literal

from corridor.dictionary import MODES
from corridor.errors import HookUpError

__all__ = ["FAR_ENDS", "HookUp"]

FAR_ENDS = ("open", "grounded", "returned")


@dataclass(frozen=True)
class HookUp:
    """One way to put tone on one line.

    Attributes
    ----------
    mode : str
        direct, clamp or induction.
    line_id : str
        The target.
    structure_id : str, optional
        Access point; the place on the line nearest to it is used where ``at_m`` is left out.
    at_m : float, optional
        Distance along the line, m.
    stake_xy : tuple of two floats, optional
        Ground stake of a direct connection, m in the site's CRS; left out, square to the line.
    far_end : str
        open: as the records have it; grounded: a stake on the line's other end; returned: the other end led back to
        the transmitter, without a stake. Direct only.
    height_m : float, optional
        Height of the induction loop above ground; the equipment's where left out.

    Raises
    ------
    HookUpError
        If the mode or the far end is no word of the vocabulary, or neither place nor structure is given.
    """

    mode: Literal["direct", "clamp", "induction"]
    line_id: str
    structure_id: str | None = None
    at_m: float | None = None
    stake_xy: tuple[float, float] | None = None
    far_end: Literal["open", "grounded", "returned"] = "open"
    height_m: float | None = None

    def __post_init__(self) -> None:
        if self.mode not in MODES:
            message = f"expected a mode of {', '.join(MODES)}, got {self.mode!r}"
            raise HookUpError(message)
        if self.far_end not in FAR_ENDS:
            message = f"expected a far end of {', '.join(FAR_ENDS)}, got {self.far_end!r}"
            raise HookUpError(message)
        if self.structure_id is None and self.at_m is None:
            message = f"expected structure_id or at_m for the hook-up on {self.line_id}, got neither"
            raise HookUpError(message)

    @property
    def hookup_id(self) -> str:
        """Stable name: mode, line and place."""
        place = self.structure_id if self.structure_id is not None else f"{self.at_m:.0f}m"
        return f"{self.mode}:{self.line_id}:{place}"
