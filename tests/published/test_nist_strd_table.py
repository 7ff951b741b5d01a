"""NIST StRD: the table of digits that `python tests/published/strd_digits.py` prints."""

import subprocess
import sys
from pathlib import Path

from tests.published import strd_digits

COMMAND = Path(strd_digits.__file__)
# Digits that this project promises, of parameters and standard deviations alike.
PROMISED = {"Filip": 13.0, **dict.fromkeys(strd_digits.MODELS, 10.0)}


def test_the_command_prints_every_data_set_with_the_digits_promised():
    run = subprocess.run([sys.executable, str(COMMAND)], capture_output=True, check=True, text=True)
    lines = [line.strip("| ").split(" | ") for line in run.stdout.splitlines()[2:]]
    names = [title.split(",")[0] for title, *_ in lines]
    assert set(names) == {*strd_digits.DEGREES, *strd_digits.THROUGH_ZERO, *strd_digits.MODELS}
    assert len(names) == len(strd_digits.DEGREES) + 2 + 2 * len(strd_digits.MODELS)
    for name, (_, parameters, deviations) in zip(names, lines, strict=True):
        assert float(parameters) >= PROMISED.get(name, 12.0)
        assert deviations.startswith("0 is certified") or float(deviations) >= PROMISED.get(name, 12.0)
