"""Broken and hostile records, a bounded run of the generator in benchmarks/fuzz, and the accounts as a property."""
