"""Rows into the records and out of them: import, checks of rows together, amendments, export."""
