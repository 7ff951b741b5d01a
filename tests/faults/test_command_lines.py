"""A short run of tests.faults.command_lines: no odd word ends in a traceback, and none takes long."""

from tests.faults.command_lines import command_lines


def test_every_command_answers_odd_words_or_refuses_them_in_a_line():
    verdicts, faults = command_lines(150, seed=20261129)
    assert faults == []
    assert verdicts["refused"] > 0
    assert verdicts["answered"] > 0
    assert verdicts.total() == 150
