"""Published numbers as they were printed: they stand once, in `reference_data/` beside the package, and a wheel takes them along.

Decision (2026-11-29): the digits of `reference_data/` are those that the tests read, and `pyproject.toml` has a wheel take the
folders that `checks` names into the package. Options: a second copy within the package, which would differ one day; all of them
(1 MB, most of it asked by tests alone). Cost: two places to look in, the package first.
"""

import csv
import tomllib
from collections.abc import Mapping
from decimal import Decimal
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

import numpy as np

from calib.arrays import Floats
from calib.errors import CalibError

WITHIN = "reference_data"  # folder of the package in a wheel, and of the project


@cache
def _home() -> Traversable:
    """The folder that holds a folder for each source; raises CalibError where there is none."""
    places = (files("calib").joinpath(WITHIN), Path(__file__).parents[3] / WITHIN)
    home = next((place for place in places if place.is_dir()), None)
    if home is None:
        raise CalibError("the published numbers are not installed with this program: install it again")
    return home


def source_of(name: str) -> str:
    """Document, edition and clause of a source."""
    told = tomllib.loads(_text(name, "source.toml"))
    return ", ".join(str(told[part]) for part in ("document", "edition", "clause") if told.get(part))


def rows_of(name: str, file: str) -> list[dict[str, str]]:
    """Rows of a CSV file of a source: header -> text as printed."""
    return list(csv.DictReader(_text(name, f"{file}.csv").splitlines()))


def printed_by(name: str, file: str) -> Mapping[str, str]:
    """Printed text by symbol, of a file with the columns symbol and printed."""
    return {row["symbol"]: row["printed"] for row in rows_of(name, file)}


def columns_of(name: str, file: str) -> list[Floats]:
    """Columns of a CSV file as arrays, in the order of its header."""
    return [
        np.array(column, dtype=float) for column in zip(*(row.values() for row in rows_of(name, file)), strict=True)
    ]


def _text(name: str, file: str) -> str:
    return _home().joinpath(name, file).read_text(encoding="utf-8")


def agrees_with(value: float, text: str, units: str) -> bool:
    """Whether a value lies within so many units of the last printed digit."""
    printed = Decimal(text)
    exponent = printed.as_tuple().exponent
    assert isinstance(exponent, int)  # noqa: S101 (a printed number is finite)
    return bool(abs(Decimal(float(value)) - printed) <= Decimal(units) * Decimal(1).scaleb(exponent))
