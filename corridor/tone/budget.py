"""What a solution needs of memory, so that one that doesn't fit is refused before it is begun."""

import math
import os

from corridor.errors import DomainError
from corridor.settings import SolverSettings

__all__ = ["limit_text", "machine_memory_mb", "memory_limit_mb", "memory_mb", "refuse_beyond_memory"]

# measured on streets of ten lines (benchmarks): bytes for the square of the sections, once and for each frequency in
# work; and of the compressed solution, the peak at 19,200 sections, which grows as n log n (docs/limits.md)
ONCE_BYTES, WORKER_BYTES = 20.0, 90.0
COMPRESSED_MB, COMPRESSED_SECTIONS = 2200.0, 19_200
_BYTES_PER_MB = 1e6


def memory_mb(sections: int, solver: SolverSettings, *, workers: int = 1) -> float:
    """Return what solving a network takes of memory at most, MB.

    Parameters
    ----------
    sections : int
    solver : SolverSettings
        From how many sections on the matrices are compressed.
    workers : int
        Frequencies solved at once.

    Returns
    -------
    float
        Dense: a part once and one for each worker, with the square of the sections. Compressed: n log n.
    """
    if sections > solver.section_limit:
        share = sections / COMPRESSED_SECTIONS
        return COMPRESSED_MB * share * math.log(sections) / math.log(COMPRESSED_SECTIONS)
    return (ONCE_BYTES + WORKER_BYTES * workers) * sections**2 / _BYTES_PER_MB


def machine_memory_mb() -> float:
    """Return the memory of this machine, MB; infinite where the system doesn't tell."""
    try:
        return os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE") / _BYTES_PER_MB
    except (AttributeError, ValueError, OSError):
        return math.inf


def memory_limit_mb(solver: SolverSettings) -> float:
    """Return what a solution may take of memory, MB: as set, or what the machine has."""
    return solver.memory_limit_mb if solver.memory_limit_mb is not None else machine_memory_mb()


def limit_text(solver: SolverSettings) -> str:
    """Return that limit in words, and whose it is."""
    whose = "solver.memory_limit_mb" if solver.memory_limit_mb is not None else "what this machine has"
    return f"{memory_limit_mb(solver):.0f} MB ({whose})"


def refuse_beyond_memory(sections: int, solver: SolverSettings, *, workers: int = 1) -> None:
    """Refuse a solution that needs more than ``solver.memory_limit_mb``, or than the machine has where none is set.

    Raises
    ------
    DomainError
        With the estimate, and what would make it less.
    """
    need = memory_mb(sections, solver, workers=workers)
    if need > memory_limit_mb(solver):
        message = (
            f"expected a solution that fits in {limit_text(solver)}, {sections} sections, {workers} frequencies at "
            f"once, need about {need:.0f} MB; take a smaller work area or fewer targets, or lower solver.workers, "
            "solver.growth_max_m or solver.section_limit in the settings"
        )
        raise DomainError(message)
