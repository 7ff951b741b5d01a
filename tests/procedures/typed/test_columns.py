"""The declarations of the import files: what the program's own pages say of them has to be there to be said."""

import pytest

from calib.procedures.typed.columns import FILES


@pytest.mark.parametrize("file", FILES)
def test_every_file_and_every_column_says_what_it_holds(file):
    assert FILES[file].meaning
    assert [column.name for column in FILES[file] if not column.meaning] == []


@pytest.mark.parametrize("file", FILES)
def test_no_column_is_declared_twice(file):
    names = [column.name for column in FILES[file]]
    assert len(set(names)) == len(names)
