"""Exchange: records in the terms of open standards, with our own documented extension, so that nothing is lost."""

from corridor.report.exchange.records import export_records
from corridor.report.exchange.terms import STANDARDS

__all__ = ["STANDARDS", "export_records"]
