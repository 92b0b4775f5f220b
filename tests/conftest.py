"""What all tests share."""

import os

from hypothesis import settings

# A slow machine fails no test; on the build machine the same examples are tried every time.
settings.register_profile("house", deadline=None, derandomize=bool(os.environ.get("CI")))
settings.load_profile("house")
