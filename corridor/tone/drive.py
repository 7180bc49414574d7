"""Hook-ups placed on the model: unit sources for the solver, and what the transmitter can push through them."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from corridor.constants import MA_PER_A
from corridor.errors import HookUpError
from corridor.settings import Clamp, Equipment
from corridor.tone.hookup import HookUp
from corridor.tone.layout import Solution
from corridor.tone.model import ToneModel
from corridor.tone.sources import (
    LIMITS,
    ClampSource,
    LoopSource,
    clamp_emf_v,
    clamp_series_ohm,
    direct_output,
    induction_emf,
    loop_moment_am2,
)

__all__ = ["Drive", "Output", "place", "unit_output", "unit_sources"]

Complex = NDArray[np.complex128]

CM2_PER_M2 = 1e4
H_PER_UH = 1e-6
SOURCE_OHM = 50.0  # of a transmitter that feeds a clamp (engineering estimate)


@dataclass(frozen=True)
class Drive:
    """A hook-up at its place on the model.

    Attributes
    ----------
    hookup : HookUp
        What is asked for.
    section : int
        Section of the target where its current counts as the hook-up current.
    node, return_node : int
        Where a direct current goes in and comes out; -1 for the other modes.
    position_m : tuple of three floats
        x, y (against the model's origin) and height of an induction loop.
    axis : tuple of two floats
        Horizontal direction of the loop's moment, square to the line as a rule; zeros for a vertical one.
    axis_up : float
        Its upward part.
    """

    hookup: HookUp
    section: int
    node: int = -1
    return_node: int = -1
    position_m: tuple[float, float, float] = (0.0, 0.0, 0.0)
    axis: tuple[float, float] = (0.0, 0.0)
    axis_up: float = 0.0


@dataclass(frozen=True)
class Output:
    """What the transmitter does in k hook-ups at one frequency; arrays of shape (k,).

    Attributes
    ----------
    reference_a : ndarray of complex
        Current on the target at the hook-up per unit source: the currents are quoted against it.
    loop_ohm : ndarray of complex
        Impedance that the source sees; NaN for induction.
    available_a : ndarray of float
        Largest current at the hook-up within the source's limits.
    limited_by : ndarray of int8
        Position in ``LIMITS`` of the limit that sets it.
    """

    reference_a: Complex
    loop_ohm: Complex
    available_a: NDArray[np.float64]
    limited_by: NDArray[np.int8]


def place(model: ToneModel, hookup: HookUp, line: BaseGeometry, *, stake: str | None, equipment: Equipment) -> Drive:
    """Find the node, section or position of a hook-up.

    Parameters
    ----------
    model : ToneModel
        With the hook-up's stake among its electrodes.
    hookup : HookUp
        Its ``at_m`` must be filled.
    line : LineString
        The target in plan, in the site's CRS.
    stake : str or None
        Name of the electrode of a direct hook-up.
    equipment : Equipment
        Height of the loop.

    Returns
    -------
    Drive

    Raises
    ------
    HookUpError
        If the line isn't in the model, or a clamp or loop is asked for that the equipment lacks.
    """
    if hookup.line_id not in model.line_ids or hookup.at_m is None:
        message = f"hook-up {hookup.hookup_id}: line {hookup.line_id} carries no tone, see the findings"
        raise HookUpError(message)
    section = model.section_at(hookup.line_id, hookup.at_m)
    if hookup.mode == "direct":
        node = model.node_at(hookup.line_id, hookup.at_m)
        if hookup.far_end == "returned":
            far = 0.0 if hookup.at_m > line.length / 2 else line.length
            return Drive(hookup, section, node, model.node_at(hookup.line_id, far))
        if stake is None:
            message = f"hook-up {hookup.hookup_id}: a direct connection needs a ground stake, got none"
            raise HookUpError(message)
        return Drive(hookup, section, node, model.electrode_node(stake))
    part = {"clamp": equipment.clamp, "induction": equipment.loop}[hookup.mode]
    if part is None:
        message = f"hook-up {hookup.hookup_id}: equipment {equipment.name} has no {hookup.mode}; name another mode"
        raise HookUpError(message)
    if hookup.mode == "clamp":
        return Drive(hookup, section)
    height = hookup.height_m if hookup.height_m is not None else equipment.loop.height_m if equipment.loop else 0.0
    point = shapely.get_coordinates(line.interpolate(hookup.at_m))[0] - model.origin_m
    along = model.end_m[section, :2] - model.start_m[section, :2]
    along /= np.hypot(*along)
    x, y = along
    point += hookup.loop_offset_m * np.array([-y, x])
    axis, up = {"across": ((-y, x), 0.0), "along": ((x, y), 0.0), "vertical": ((0.0, 0.0), 1.0)}[hookup.loop_axis]
    return Drive(hookup, section, position_m=(point[0], point[1], height), axis=axis, axis_up=up)


def unit_sources(
    model: ToneModel, drives: Sequence[Drive], *, frequency_hz: float, gamma_per_m: complex
) -> tuple[Complex, Complex]:
    """Return injections (nodes, k) and voltages in series (n, k) for one ampere, one volt or one ampere square metre.

    Parameters
    ----------
    model : ToneModel
        The network.
    drives : sequence of Drive
        One a column.
    frequency_hz : float
        Of the tone.
    gamma_per_m : complex
        Propagation constant of the soil.
    """
    injection = np.zeros((model.layout.n_nodes, len(drives)), dtype=np.complex128)
    emf = np.zeros((model.n_sections, len(drives)), dtype=np.complex128)
    for column, drive in enumerate(drives):
        if drive.hookup.mode == "direct":
            injection[drive.node, column] += 1.0
            injection[drive.return_node, column] -= 1.0
        elif drive.hookup.mode == "clamp":
            emf[drive.section, column] = 1.0
        else:
            lines = slice(model.n_conducting)  # electrodes are upright: nothing is induced along them
            emf[lines, column] = induction_emf(
                model.start_m[lines],
                model.end_m[lines],
                moment_am2=(*drive.axis, drive.axis_up),
                position_m=drive.position_m,
                frequency_hz=frequency_hz,
                gamma_per_m=gamma_per_m,
            )
    return injection, emf


def unit_output(solution: Solution, drives: Sequence[Drive], *, frequency_hz: float, equipment: Equipment) -> Output:
    """Return reference currents, loop impedances and the currents within the source's limits.

    Parameters
    ----------
    solution : Solution
        Of ``unit_sources``, a column each.
    drives : sequence of Drive
        In the same order.
    frequency_hz : float
        Of the tone.
    equipment : Equipment
        Limits of the transmitter, clamp and loop.
    """
    reference = np.ones(len(drives), dtype=np.complex128)
    loop = np.full(len(drives), complex(math.nan, math.nan))
    available = np.zeros(len(drives))
    limited_by = np.full(len(drives), LIMITS.index("power"), dtype=np.int8)  # a loop's only limit
    source = equipment.transmitter
    for k, drive in enumerate(drives):
        target = solution.current_a[drive.section, k]
        if drive.hookup.mode == "direct":
            loop[k] = solution.node_v[drive.node, k] - solution.node_v[drive.return_node, k]
            limits = direct_output(
                loop[k],
                level_a=math.inf,
                max_voltage_v=source.max_voltage_v,
                max_current_a=source.max_current_ma / MA_PER_A,
                max_power_w=source.max_power_w,
            )
            available[k], limited_by[k] = float(limits.current_a), int(limits.limited_by)
        elif drive.hookup.mode == "clamp" and equipment.clamp is not None:
            reference[k], loop[k] = target, 1.0 / target
            core = _clamp_source(equipment.clamp, source.max_voltage_v)
            total = loop[k] + complex(clamp_series_ohm(frequency_hz, core))
            emf = float(clamp_emf_v(frequency_hz, core))
            available[k] = emf / abs(total)
            limited_by[k] = LIMITS.index("voltage" if emf >= core.max_voltage_v / core.turns else "saturation")
        elif equipment.loop is not None:
            coil = equipment.loop
            moment = loop_moment_am2(
                frequency_hz,
                LoopSource(
                    area_m2=coil.area_m2,
                    turn_inductance_h=coil.inductance_uh * H_PER_UH,
                    quality_factor=coil.quality_factor,
                    power_w=coil.power_w,
                ),
            )
            reference[k], available[k] = target, abs(target) * float(moment)
    return Output(reference, loop, available, limited_by)


def _clamp_source(clamp: Clamp, max_voltage_v: float) -> ClampSource:
    return ClampSource(
        core_area_m2=clamp.core_area_cm2 / CM2_PER_M2,
        saturation_t=clamp.saturation_t,
        turns=clamp.turns,
        turn_inductance_h=clamp.inductance_uh * H_PER_UH,
        max_voltage_v=max_voltage_v,
        source_ohm=SOURCE_OHM,
    )
