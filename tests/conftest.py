"""Property tests draw the same examples in every run of CI; elsewhere they look further each time."""

import os

from hypothesis import settings

settings.register_profile("ci", derandomize=True, deadline=None, print_blob=True)
settings.register_profile("here", deadline=None)
settings.load_profile("ci" if os.environ.get("CI") == "true" else "here")
