"""The scope of a large excavation: congestion cell by cell, effort phase by phase."""

from corridor.scope.area import Scope, scope_area

__all__ = ["Scope", "scope_area"]
