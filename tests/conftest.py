"""Settings of the property tests (no deadline, since machines differ), and records files to work on."""

import shutil

import pytest
from hypothesis import settings

from calib.records import database
from tests import folders

settings.register_profile("calib", deadline=None, max_examples=60)
settings.load_profile("calib")


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory):
    """The demo job, run once: its records and reports. Tests change copies only."""
    from calib.faces.demo import run_demo

    folder = tmp_path_factory.mktemp("demo")
    run_demo(folder, lambda _: None)
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
def empty_records(_empty, tmp_path):
    """A records file that holds nothing yet."""
    return shutil.copyfile(_empty, tmp_path / "records.sqlite")


@pytest.fixture(scope="session")
def _small(tmp_path_factory):
    return folders.records_of(tmp_path_factory.mktemp("small"), folders.small_job())


@pytest.fixture
def small_records(_small, tmp_path):
    """A records file that holds the small job of tests.folders."""
    return shutil.copyfile(_small, tmp_path / "small.sqlite")
