"""The crew sheet: what a crew takes along, as one PDF."""

from corridor.report.sheet.write import PAPERS, write_crew_sheet

__all__ = ["PAPERS", "write_crew_sheet"]
