"""The small job served in pages, to people of each role: from a file, and from a server."""

from importlib.util import find_spec

import pytest

from tests.conftest import SERVER
from tests.missing import missing


class _WithoutExtra(pytest.Module):
    """A file of tests where the packages of the pages are not installed."""

    def collect(self):
        missing("needs the extra: pip install 'calib[pages]'")


def pytest_pycollect_makemodule(module_path, parent):
    """Without the extra each file of tests says so and is skipped."""
    return None if find_spec("starlette") else _WithoutExtra.from_parent(parent, path=module_path)


@pytest.fixture(scope="module")
def browser():
    """Debian's browser, without a screen."""
    from tests.pages_browser import chromium

    with chromium() as opened:
        yield opened


@pytest.fixture
def served_with(backend, request, small_records, tmp_path):
    """A function that serves the small job, with settings of its own: further pages, another address."""
    from tests.served import company, put_on_record, put_on_server

    opened = []
    if backend == SERVER:
        location = put_on_server(request.getfixturevalue("server_with_logins"), small_records)
    else:
        put_on_record(small_records)
        location = small_records

    def serve(**settings):
        opened.append(company(location, tmp_path, records=small_records, **settings))
        return opened[-1].__enter__()

    yield serve
    for each in opened:
        each.__exit__(None, None, None)


@pytest.fixture
def served(served_with):
    """The small job served as it is."""
    return served_with()
