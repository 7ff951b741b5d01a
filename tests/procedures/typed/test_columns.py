"""The declarations of the import files: what the program's own pages say of them has to be there to be said."""

from calib.procedures.typed.columns import FILES
from calib.records.tables.evidence import EVIDENCE


def test_every_file_and_every_column_says_what_it_holds():
    for file in FILES:
        assert FILES[file].meaning
        assert [column.name for column in FILES[file] if not column.meaning] == []


def test_no_column_is_declared_twice():
    for file in FILES:
        names = [column.name for column in FILES[file]]
        assert len(set(names)) == len(names)


def test_key_and_references_are_columns_of_the_file():
    for file in FILES:
        names = {column.name for column in FILES[file]}
        assert set(FILES[file].key) <= names
        assert {column for reference in FILES[file].references for column in reference.columns} <= names


def test_what_a_reference_stores_is_a_foreign_key_to_the_table_that_it_names():
    for file in FILES:
        own = FILES[file].table.__table__
        behind = [key.column.table for key in own.foreign_keys]  # a decision names its review by the certificate
        for reference in FILES[file].references:
            if reference.stored is not None:
                column = next(
                    each.columns[reference.stored] for each in (own, *behind) if reference.stored in each.columns
                )
                assert [key.column.table for key in column.foreign_keys] == [reference.table.__table__]


def test_a_file_stands_for_a_table_of_the_records():
    for file in FILES:
        assert FILES[file].table in EVIDENCE
