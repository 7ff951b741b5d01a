"""What was typed: sheets of rows, their columns and cells, observations; nothing of the records.

Decision (2026-11). One mistake is named once: what rests on a wrong cell is not asked for. A file is what its content says. Cost:
what rests on a wrong cell is found at the second try.
"""
