"""Property tests look at the same cases every time in CI, and at new ones at every run by hand."""

import os

from hypothesis import settings

settings.register_profile("ci", derandomize=True)
if os.environ.get("CI"):
    settings.load_profile("ci")
