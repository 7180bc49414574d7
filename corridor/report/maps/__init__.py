"""Maps, drawn to scale: set-ups, one hook-up, bonded groups, the excavation."""
