"""The small job served in pages, to people of each role: from a file, and from a server."""

import shutil
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


@pytest.fixture(scope="session")
def _company(_small, tmp_path_factory):
    from tests.served import put_on_record

    records = shutil.copyfile(_small, tmp_path_factory.mktemp("company") / "records.sqlite")
    put_on_record(records)
    return records


@pytest.fixture(scope="session")
def _company_there(server_with_logins, _small_there):
    from tests.served import put_on_server

    name = server_with_logins.new_database(_small_there)
    put_on_server(server_with_logins, server_with_logins.url(name))
    return name


@pytest.fixture
def small_records(backend, request, _company, tmp_path):
    """Records that hold the small job, and the people of a company."""
    if backend == SERVER:
        return request.getfixturevalue("copy_there")(request.getfixturevalue("_company_there"))
    return shutil.copyfile(_company, tmp_path / "small.sqlite")


@pytest.fixture
def light(backend):
    """How a phone is looked at: by day where the records are a file, in the dark where they are on a server."""
    return "dark" if backend == SERVER else "light"


@pytest.fixture
def width(backend):
    """[CSS pixels] Of a desk: a small screen where the records are a file, a large one where they are on a server."""
    return 1280 if backend == SERVER else 768


@pytest.fixture
def served_with(backend, request, small_records, tmp_path):
    """A function that serves the small job, with settings of its own: further pages, another address."""
    from tests.served import company, pages_of, put_on_record, put_on_server, staffed

    opened, location, is_staffed = [], small_records, staffed(small_records)  # a module may have records of its own
    if backend == SERVER:
        server = request.getfixturevalue("server_with_logins")
        location = pages_of(server, location) if is_staffed else put_on_server(server, location)
    elif not is_staffed:
        put_on_record(location)

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


@pytest.fixture
def tom(served):
    """A technician, signed in."""
    return served.signed_in("Tom")


@pytest.fixture
def quinn(served):
    """QA, signed in."""
    return served.signed_in("Quinn")


@pytest.fixture
def ed(served):
    """An engineer, signed in."""
    return served.signed_in("Ed")
