"""A hook-up: where and how the tone is put on a line."""

import math
from dataclasses import dataclass
from typing import Literal

from corridor.dictionary import MODES
from corridor.errors import HookUpError

__all__ = ["FAR_ENDS", "LOOP_AXES", "HookUp", "stake_on_lead"]

FAR_ENDS = ("open", "grounded", "returned")
LOOP_AXES = ("across", "along", "vertical")


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
        Ground stake of a direct connection, m in the site's CRS; left out, a place clear of recorded lines, or
        square to the line where there is none.
    far_end : str
        open: as the records have it; grounded: a stake on the line's other end; returned: the other end led back to
        the transmitter, without a stake. Direct only.
    height_m : float, optional
        Height of the induction loop above ground; the equipment's where left out.
    further_stakes : tuple of tuples of two floats
        More ground stakes, clipped to the first one. Direct only.
    lift_ground : bool
        Whether the line's own grounds at the hook-up are taken as lifted off: a comparison for the desk, never a
        suggestion. Direct only.
    opened_bond : str, optional
        bond_id of a bond that is taken as opened: likewise a comparison. Direct only.
    loop_axis : str
        Axis of the induction loop: across the line (the strongest from above), along it, or vertical (which spares the
        line straight below and drives those beside it). Induction only.
    loop_offset_m : float
        How far the loop stands to the left of the line, looking along it, m. Induction only.

    Raises
    ------
    HookUpError
        If the mode, the far end or the axis is no word of the vocabulary, neither place nor structure is given, or
        something is asked for that the mode doesn't have.
    """

    mode: Literal["direct", "clamp", "induction"]
    line_id: str
    structure_id: str | None = None
    at_m: float | None = None
    stake_xy: tuple[float, float] | None = None
    far_end: Literal["open", "grounded", "returned"] = "open"
    height_m: float | None = None
    further_stakes: tuple[tuple[float, float], ...] = ()
    lift_ground: bool = False
    opened_bond: str | None = None
    loop_axis: Literal["across", "along", "vertical"] = "across"
    loop_offset_m: float = 0.0

    def __post_init__(self) -> None:
        if self.mode not in MODES:
            message = f"expected a mode of {', '.join(MODES)}, got {self.mode!r}"
            raise HookUpError(message)
        if self.far_end not in FAR_ENDS:
            message = f"expected a far end of {', '.join(FAR_ENDS)}, got {self.far_end!r}"
            raise HookUpError(message)
        if self.loop_axis not in LOOP_AXES:
            message = f"expected a loop axis of {', '.join(LOOP_AXES)}, got {self.loop_axis!r}"
            raise HookUpError(message)
        for asked, mode, what in (
            (self.further_stakes, "direct", "further stakes"),
            (self.lift_ground, "direct", "a lifted ground"),
            (self.opened_bond is not None, "direct", "an opened bond"),
            (self.loop_axis != "across", "induction", "another axis of the loop"),
            (self.loop_offset_m != 0.0, "induction", "a loop beside the line"),
        ):
            if asked and self.mode != mode:
                message = f"hook-up on {self.line_id}: expected {what} with mode {mode} only, got mode {self.mode}"
                raise HookUpError(message)
        if self.further_stakes and self.far_end == "returned":
            message = f"hook-up on {self.line_id}: expected no stakes where the far end is led back, got further stakes"
            raise HookUpError(message)
        if self.structure_id is None and self.at_m is None:
            message = f"expected structure_id or at_m for the hook-up on {self.line_id}, got neither"
            raise HookUpError(message)

    @property
    def hookup_id(self) -> str:
        """Stable name: mode, line and place."""
        place = self.structure_id if self.structure_id is not None else f"{self.at_m:.0f}m"
        return f"{self.mode}:{self.line_id}:{place}"


def stake_on_lead(
    access_xy: tuple[float, float], stake_xy: tuple[float, float], distance_m: float
) -> tuple[float, float]:
    """Return the place of a stake moved along its lead: on the straight line from the access point through the stake.

    Parameters
    ----------
    access_xy, stake_xy : tuple of two floats
        Access point and present stake, m in the site's CRS.
    distance_m : float
        New distance from the access point, m, > 0.

    Returns
    -------
    tuple of two floats

    Raises
    ------
    HookUpError
        If the distance isn't positive, or the stake stands on the access point, so that the lead has no direction.
    """
    span = math.dist(access_xy, stake_xy)
    if not (math.isfinite(distance_m) and distance_m > 0.0) or span == 0.0:
        message = (
            f"expected a distance above 0 m on a lead that leads away from the access point, got {distance_m:g} m on a "
            f"lead of {span:g} m"
        )
        raise HookUpError(message)
    share = distance_m / span
    x, y = (near + share * (far - near) for near, far in zip(access_xy, stake_xy, strict=True))
    return x, y
