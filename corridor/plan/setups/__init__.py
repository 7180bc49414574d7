"""Which set-ups a crew makes, in which order, and what they tell: choice and description, no physics of its own."""

from corridor.plan.setups.causes import Cause, Causes, rank_causes
from corridor.plan.setups.cover import Cover, choose_setups, greedy_setups, trade_off
from corridor.plan.setups.crews import Shares, share_out
from corridor.plan.setups.expected import (
    Interval,
    SourceReadings,
    battery_hours,
    interval,
    power_drawn,
    source_readings,
)
from corridor.plan.setups.fallback import Fallback, fallbacks
from corridor.plan.setups.frequencies import Colouring, colour_frequencies
from corridor.plan.setups.order import Route, walking_order
from corridor.plan.setups.programme import Stage
from corridor.plan.setups.signature import Signature, read_signature, separates, separation
from corridor.plan.setups.verify import Gains, verify_first

__all__ = [
    "Cause",
    "Causes",
    "Colouring",
    "Cover",
    "Fallback",
    "Gains",
    "Interval",
    "Route",
    "Shares",
    "Signature",
    "SourceReadings",
    "Stage",
    "battery_hours",
    "choose_setups",
    "colour_frequencies",
    "fallbacks",
    "greedy_setups",
    "interval",
    "power_drawn",
    "rank_causes",
    "read_signature",
    "separates",
    "separation",
    "share_out",
    "source_readings",
    "trade_off",
    "verify_first",
    "walking_order",
]
