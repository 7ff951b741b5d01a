"""Published numbers and worked cases: their text as printed, and how closely a computed value must agree with it."""

import csv
import math
import tomllib
from decimal import Decimal
from pathlib import Path

import numpy as np

# Published numbers, and cases that this project made up and worked out: never the one under the other's name.
PUBLISHED = Path(__file__).parent.parent / "reference_data"
WORKED = Path(__file__).parent / "worked_cases"
SOURCES = sorted(file.parent.name for home in (PUBLISHED, WORKED) for file in home.glob("*/source.toml"))


def folder(name):
    """Where the digits of a source stand."""
    return next(home / name for home in (PUBLISHED, WORKED) if (home / name).is_dir())


def source(name):
    """What `source.toml` says of a source."""
    return tomllib.loads((folder(name) / "source.toml").read_text(encoding="utf-8"))


def rows(name, file):
    """Rows of a csv file of a source: header -> printed text."""
    with (folder(name) / f"{file}.csv").open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def printed(name, file):
    """Printed text by symbol, of a file with the columns symbol and printed."""
    return {row["symbol"]: row["printed"] for row in rows(name, file)}


def numbers(name, file):
    """Columns of a csv file as arrays of floats, in the order of its header."""
    return [np.array(column, dtype=float) for column in zip(*(row.values() for row in rows(name, file)), strict=True)]


def last_digit(text):
    """One unit of the last printed digit: 0.01 for "2.92", 10 for "1.2E+2"."""
    return Decimal(1).scaleb(Decimal(text).as_tuple().exponent)


def bounds(text):
    """The values that a printed number may be the rounding of: lowest and highest."""
    half = last_digit(text) / 2
    return float(Decimal(text) - half), float(Decimal(text) + half)


def agrees(value, text, units="0.5"):
    """Whether a value lies within `units` of the last printed digit; half a unit but for listed exceptions."""
    return abs(Decimal(float(value)) - Decimal(text)) <= Decimal(units) * last_digit(text)


def digits_reached(value, certified):
    """Base-10 logarithm of the relative error, as a number of digits; 15 where the 15 certified digits are all met."""
    error = abs(Decimal(float(value)) / Decimal(certified) - 1)
    return min(15.0, -math.log10(error)) if error else 15.0
