"""Data files: equipment profiles, field-map profiles, sourced default tables."""
