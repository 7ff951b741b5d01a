"""Published numbers as they were printed, from the files of `reference_data`, which whoever asks reads."""

import csv
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from calib.arrays import Floats


@dataclass(frozen=True)
class PublishedDigits:
    """The files of every source: `text` gives the content of one, by the source's folder and the file's name."""

    text: Callable[[str, str], str]

    def source(self, name: str) -> str:
        """Document, edition and clause of a source."""
        told = tomllib.loads(self.text(name, "source.toml"))
        return ", ".join(str(told[part]) for part in ("document", "edition", "clause") if told.get(part))

    def rows(self, name: str, file: str) -> list[dict[str, str]]:
        """Rows of a CSV file of a source: header -> text as printed."""
        return list(csv.DictReader(self.text(name, f"{file}.csv").splitlines()))

    def printed(self, name: str, file: str) -> Mapping[str, str]:
        """Printed text by symbol, of a file with the columns symbol and printed."""
        return {row["symbol"]: row["printed"] for row in self.rows(name, file)}

    def numbers(self, name: str, file: str) -> list[Floats]:
        """Columns of a CSV file as arrays, in the order of its header."""
        columns = zip(*(row.values() for row in self.rows(name, file)), strict=True)
        return [np.array(column, dtype=float) for column in columns]


def agrees_with(value: float, text: str, units: str) -> bool:
    """Whether a value lies within so many units of the last printed digit."""
    printed = Decimal(text)
    exponent = printed.as_tuple().exponent
    assert isinstance(exponent, int)  # noqa: S101 (a printed number is finite)
    return bool(abs(Decimal(float(value)) - printed) <= Decimal(units) * Decimal(1).scaleb(exponent))
