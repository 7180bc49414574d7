"""The crew's readings back in: which hidden cause explains them, and what the currents are then."""

from corridor.readings.plan import PlanTables
from corridor.readings.table import check_readings, read_readings, write_template
from corridor.readings.update import Update, apply_readings

__all__ = ["PlanTables", "Update", "apply_readings", "check_readings", "read_readings", "write_template"]
