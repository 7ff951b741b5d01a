"""Comparisons outside the range that the register states for their instrument: often a unit or a decimal point that slipped.

No finding, since a laboratory may go beyond the range that somebody typed; the gate goes by the comparisons.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence

from calib.procedures.certificate.fit_curve import indication_quantity
from calib.procedures.typed.sheets import Cells, Sheets, TypedRow
from calib.quantities import unit

_NAMED = 3  # indications told of one certificate


def outside_range(sheets: Sheets, instruments: Mapping[str, Cells]) -> Iterator[str]:
    """A line for each certificate of checked sheets with indications below range_low or above range_high of its instrument."""
    of_certificates: dict[tuple[str, str], list[TypedRow]] = defaultdict(list)
    for row in sheets["comparisons.csv"]:
        of_certificates[row.cells["tag"], row.cells["certificate"]].append(row)
    for (tag, certificate), rows in of_certificates.items():
        instrument = instruments[tag]
        outside = _outside(instrument, rows)
        if outside:
            told = ", ".join([*outside[:_NAMED], *(["…"] if len(outside) > _NAMED else [])])
            yield (
                f"{tag}: certificate {certificate}: {len(outside)} of {len(rows)} indications lie outside the register's range, "
                f"{instrument['range_low']} to {instrument['range_high']} {instrument['unit']} ({told}): is the unit right?"
            )


def _outside(instrument: Cells, rows: Sequence[TypedRow]) -> list[str]:
    """Indications below or above the range, with their units."""
    quantity = indication_quantity(instrument) or ""
    own = unit(quantity, str(instrument["unit"]))
    low, high = (own.to_si(float(str(instrument[name]))) for name in ("range_low", "range_high"))
    slack = 1e-9 * (high - low)
    outside = []
    for row in rows:
        symbol = row.get("indication_unit") or row.cells["unit"]
        indication = unit(quantity, symbol).to_si(float(row.cells["indication"]))
        if not low - slack <= indication <= high + slack:
            outside.append(f"{row.cells['indication']} {symbol}")
    return outside
