"""Settings of the whole test suite."""

import os

from hypothesis import settings

# the same examples on every run, so that a failure is the change's own; HYPOTHESIS_PROFILE=search looks for new ones
settings.register_profile("same", derandomize=True, deadline=None)
settings.register_profile("search", deadline=None, print_blob=True)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "same"))
