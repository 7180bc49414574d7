"""What to do: which hook-ups are allowed, and which one suits each stretch of each line."""

from corridor.plan.gate import Decision, gate
from corridor.plan.hookups import find_hookups, nearest_ids, select_hookup
from corridor.plan.strategy import build_strategy, strategy_totals

__all__ = [
    "Decision",
    "build_strategy",
    "find_hookups",
    "gate",
    "nearest_ids",
    "select_hookup",
    "strategy_totals",
]
