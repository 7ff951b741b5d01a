"""What a machine may lack though the tests can use it: a test says what it was skipped for. In CI nothing may be missing."""

import os

import pytest


def missing(reason):
    """Skip the test with the reason; with CI in the environment it fails, since there nothing is skipped unnoticed."""
    if os.environ.get("CI"):
        pytest.fail(f"{reason} (never skipped in CI)", pytrace=False)
    pytest.skip(reason, allow_module_level=True)
