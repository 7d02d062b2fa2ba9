"""`python -m tests.published` runs the checks and writes docs/validation.md from them."""

import sys

import pytest

from tests.published import page

page.writing = True
sys.exit(pytest.main([str(page.HERE), "-q", "-p", "no:xdist"]))
