"""Broken and hostile records: made by a seed, run through the program, judged."""
