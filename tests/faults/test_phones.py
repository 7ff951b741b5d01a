"""A short run of the kills of tests.faults.phones."""

import sys
from importlib.util import find_spec

import pytest

from tests.missing import missing


@pytest.mark.skipif(sys.platform == "win32", reason="there is no SIGKILL")
def test_nothing_answered_is_lost_or_doubled_however_often_the_server_dies(tmp_path):
    if not find_spec("starlette"):
        missing("needs the extra: pip install 'calib[pages]'")
    from tests.faults.phones import phones

    assert phones(2, readings=2, seed=18, folder=tmp_path, count=8) >= 1
