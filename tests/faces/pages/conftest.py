"""The small job served in pages, to people of each role: from a file, and from a server."""

import pytest

from tests.conftest import SERVER
from tests.served import company, put_on_record, put_on_server


@pytest.fixture
def served_with(backend, request, small_records, tmp_path):
    """A function that serves the small job, with settings of its own: further pages, another address."""
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
