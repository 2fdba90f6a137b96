"""For all tests: on the machine that checks a submission, generated examples are the same each time; one browser."""

import os

from hypothesis import settings

from tests.browser import chromium as chromium
from tests.browser import page as page

settings.register_profile("checked", derandomize=True, database=None)
if os.environ.get("CI"):
    settings.load_profile("checked")
