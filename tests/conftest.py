"""Property tests try the same examples every time; `HYPOTHESIS_PROFILE=default` has them look for others."""

import os

from hypothesis import settings

settings.register_profile("repeatable", derandomize=True)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "repeatable"))
