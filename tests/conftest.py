"""Settings of all tests: on the machine that checks a submission, generated examples are the same each time."""

import os

from hypothesis import settings

settings.register_profile("checked", derandomize=True, database=None)
if os.environ.get("CI"):
    settings.load_profile("checked")
