"""The examples that the commands print of themselves work as they are printed, one after the other, from empty records on.

Common practice, no source: who copies an example expects that it runs.
"""

import shlex

import pytest

from tests.command import calib
from tests.faces.cli.test_program import example_of

# In the order in which a company needs them: an outlet is of a job.
ADDS = ("instrument add", "method add", "job add", "outlet add", "system add", "room add")


@pytest.fixture(scope="module")
def ran(tmp_path_factory):
    """What each example said and with which status it ended."""
    records = tmp_path_factory.mktemp("examples") / "r.sqlite"
    assert calib("init", records=records).status == 0
    return {name: calib(*shlex.split(example_of(name))[1:], records=records) for name in ADDS}


@pytest.mark.parametrize("name", ADDS)
def test_the_example_of_a_command_that_adds_works_as_printed(ran, name):
    assert (ran[name].status, ran[name].err) == (0, "")
    assert ran[name].out.startswith("added ")


def test_the_help_says_when_the_limit_of_the_dimensions_is_needed():
    told = " ".join(calib("outlet", "add", "--help").out.casefold().split())
    assert "half-width within which the dimensions are known; needed with dimensions" in told
