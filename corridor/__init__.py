"""corridor: where a locating tone goes in a dense street, and how to hook up so that it stays on the target.

Each command is one of these functions, with files at both ends. They are loaded when they are first asked for, so that
``corridor --help`` answers at once.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from corridor.couplings import find_bonds, find_couplings, find_crossings, find_parallel_runs
    from corridor.network.bonded import bonded_networks
    from corridor.network.groups import bonded_groups
    from corridor.plan.passive import trace_passive
    from corridor.plan.review import plan_setups, review_site
    from corridor.plan.trace import trace_tone
    from corridor.readings import apply_readings
    from corridor.report.results import write_results, write_review, write_trace
    from corridor.report.scoped import write_scope
    from corridor.scope import scope_area
    from corridor.settings import Equipment, Settings, load_equipment, load_settings
    from corridor.site import Site, read_site
    from corridor.tone.hookup import HookUp

__version__ = "0.1.0"
__all__ = [
    "Equipment",
    "HookUp",
    "Settings",
    "Site",
    "__version__",
    "apply_readings",
    "bonded_groups",
    "bonded_networks",
    "find_bonds",
    "find_couplings",
    "find_crossings",
    "find_parallel_runs",
    "load_equipment",
    "load_settings",
    "plan_setups",
    "read_site",
    "review_site",
    "scope_area",
    "trace_passive",
    "trace_tone",
    "write_results",
    "write_review",
    "write_scope",
    "write_trace",
]

_HOMES = {
    "corridor.couplings": ("find_bonds", "find_couplings", "find_crossings", "find_parallel_runs"),
    "corridor.network.bonded": ("bonded_networks",),
    "corridor.network.groups": ("bonded_groups",),
    "corridor.plan.passive": ("trace_passive",),
    "corridor.plan.review": ("plan_setups", "review_site"),
    "corridor.plan.trace": ("trace_tone",),
    "corridor.readings": ("apply_readings",),
    "corridor.report.results": ("write_results", "write_review", "write_trace"),
    "corridor.report.scoped": ("write_scope",),
    "corridor.scope": ("scope_area",),
    "corridor.settings": ("Equipment", "Settings", "load_equipment", "load_settings"),
    "corridor.site": ("Site", "read_site"),
    "corridor.tone.hookup": ("HookUp",),
}
_HOME = {name: module for module, names in _HOMES.items() for name in names}


def __getattr__(name: str) -> Any:
    """Load a public function when it is first asked for."""
    if name not in _HOME:
        message = f"module {__name__!r} has no attribute {name!r}"
        raise AttributeError(message)
    value = getattr(import_module(_HOME[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
