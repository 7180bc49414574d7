"""What the records don't know, drawn from stated distributions and solved: the ensemble that plans are judged on."""

from corridor.draws.redraw import Redrawn, redrawn
from corridor.draws.sample import Draws, draw
from corridor.draws.solve import DrawnSite, solve_geometry
from corridor.draws.unknowns import KINDS, Unknown, unknowns_of

__all__ = ["KINDS", "DrawnSite", "Draws", "Redrawn", "Unknown", "draw", "redrawn", "solve_geometry", "unknowns_of"]
