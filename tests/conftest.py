"""Settings of the whole test suite."""

import os
from pathlib import Path

# each worker compiles into a cache of its own, before anything is compiled: two processes that write one cache at once
# can load each other's code
if worker := os.environ.get("PYTEST_XDIST_WORKER"):
    os.environ["NUMBA_CACHE_DIR"] = str(Path(__file__).parents[1] / ".pytest_cache" / f"compiled-{worker}")

from hypothesis import settings

# the same examples on every run, so that a failure is the change's own; HYPOTHESIS_PROFILE=search looks for new ones
settings.register_profile("same", derandomize=True, deadline=None)
settings.register_profile("search", deadline=None, print_blob=True)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "same"))
