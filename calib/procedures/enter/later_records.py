"""What came after the first typing, as an export writes it and an import reads it back.

events.csv       suspensions, releases, damage, repairs, moves, retirements, interval changes
checks.csv       intermediate checks; whether one passed follows from its limits
pairings.csv     probes and the meters that they are used with
curves.csv       curves that a person chose instead of the rule
supersessions.csv  certificates that their laboratory reissued, each with the one that it issued instead
withdrawals.csv  calibrations that were recorded wrongly, and count for nothing
factors.csv      outlet factors found in the field, as they were stored; factor_pairs.csv has the readings that they rest on
amendments.csv   outlets as they were amended, each time the whole of them

Readings are checked against outlets as they were last amended: so they are evaluated. Events, checks and pairings may speak of what
is on record already; the others of what the same import brings.
"""

from collections import defaultdict
from collections.abc import Iterable

from calib.errors import Finding
from calib.procedures.enter.check_jobs import outlet_findings
from calib.procedures.typed.columns import FILES
from calib.procedures.typed.declaration import RecordNames
from calib.procedures.typed.rows_together import KnownNames, TypedCells, duplicate, repeated
from calib.procedures.typed.sheets import Cells, Sheets, TypedRow
from calib.records.tables.instruments import Instrument
from calib.records.words import INTERVAL_CHANGE, THIS_TYPE

_OUTLET = ("job", "outlet")


# --- outlets and factors as the other rows see them ------------------------------------------------------------------------------


def in_force(sheets: Sheets) -> Sheets:
    """The sheets with each amended outlet as its last amendment has it."""
    last = {_outlet(row): row for row in _amendments(sheets)}
    outlets = [_amended(row, last.get(_outlet(row))) for row in sheets["outlets.csv"]]
    return {**sheets, "outlets.csv": outlets}


def _amendments(sheets: Sheets) -> list[TypedRow]:
    rows = [row for row in sheets["amendments.csv"] if row.sound(*_OUTLET, "revision")]
    return sorted(rows, key=lambda row: int(row.cells["revision"]))


def _outlet(row: TypedRow) -> RecordNames:
    return row.cells.get("job", ""), row.cells.get("outlet", "")


def _amended(first: TypedRow, last: TypedRow | None) -> TypedRow:
    if last is None:
        return first
    cells = {name: cell for name, cell in last.cells.items() if name not in ("revision", "reason")}
    return TypedRow(last.source, last.row_number, cells, set(last.bad))


def factors_here(named: KnownNames) -> dict[str, Cells]:
    """Factors by name: those on record, and those that this import brings."""
    # These name no key of an outlet, which is not on record yet: whether one for this outlet is used there is asked below.
    factors = {name: cells for (name,), cells in named.on_record("factors.csv", 1).items()}
    return factors | {row.cells["factor"]: TypedCells(row.cells) for row in by_revision(named.sheets["factors.csv"])}


def by_revision(rows: Iterable[TypedRow]) -> list[TypedRow]:
    """Factors as they were found one after the other."""
    sound = [row for row in rows if row.sound("factor", "revision")]
    return sorted(sound, key=lambda row: (row.cells["factor"], int(row.cells["revision"])))


# --- what is wrong ---------------------------------------------------------------------------------------------------------------


def history_findings(named: KnownNames) -> list[Finding]:
    """All findings on these files that stand in a row, or in a row beside the others."""
    sheets = named.sheets
    return [
        *_instruments_known(named),
        *_values(sheets["events.csv"]),
        *_limits(sheets["checks.csv"]),
        *_of_certificates(named),
        *_of_factors(named),
        *_of_pairs(named),
        *_of_amendments(named),
    ]


def _instruments_known(named: KnownNames) -> Iterable[Finding]:
    for file in ("events.csv", "checks.csv", "pairings.csv", "factors.csv"):
        for reference in FILES[file].references:
            for row in named.sheets[file] if reference.table is Instrument else ():
                yield from named.unknown(row, file, *reference.columns)
    for row in named.sheets["pairings.csv"]:
        if row.sound("probe", "meter") and row.cells["probe"] == row.cells["meter"]:
            yield row.finding("meter", "another instrument than the probe")


def _values(rows: Iterable[TypedRow]) -> Iterable[Finding]:
    for row in rows:
        value = row.get("value")
        if row.get("kind") == INTERVAL_CHANGE and not (value or "").isdecimal():
            yield row.finding("value", "the new interval in months, a whole number")


def _limits(rows: Iterable[TypedRow]) -> Iterable[Finding]:
    for row in rows:
        if row.sound("low", "high") and not float(row.cells["low"]) <= float(row.cells["high"]):
            yield row.finding("high", f"a number not below low ({row.cells['low']})")


def _of_certificates(named: KnownNames) -> Iterable[Finding]:
    """Curves and withdrawals speak of certificates that the same import brings; each is withdrawn once."""
    for file in ("curves.csv", "supersessions.csv", "withdrawals.csv"):
        for row in named.sheets[file]:
            for reference in FILES[file].references:
                yield from named.unknown(row, file, *reference.columns)
    for row in named.sheets["supersessions.csv"]:
        if row.sound("certificate", "old_certificate") and row.cells["certificate"] == row.cells["old_certificate"]:
            yield row.finding("certificate", "another certificate than the one that was reissued")
    yield from repeated(named, "supersessions.csv", recorded={})
    yield from repeated(named, "withdrawals.csv", recorded={})


def _of_factors(named: KnownNames) -> Iterable[Finding]:
    yield from repeated(named, "factors.csv", named.on_record("factors.csv", 1))
    for row in named.sheets["factors.csv"]:
        of_type = row.get("scope") == THIS_TYPE
        if row.sound("scope") and of_type != row.sound("outlet_type"):
            yield row.finding("outlet_type", "the type of outlet, of a factor for a type alone")
        if row.sound("scope") and of_type == (_outlet(row) in named.brought("outlets.csv")):
            yield row.finding("outlet", "an outlet in outlets.csv, of a factor for this outlet alone")
        yield from named.unknown(row, "factors.csv", "instrument", "certificate")
        yield from named.unknown(row, "factors.csv", "method")


def _of_pairs(named: KnownNames) -> Iterable[Finding]:
    for row in named.sheets["factor_pairs.csv"]:
        for reference in FILES["factor_pairs.csv"].references:
            yield from named.unknown(row, "factor_pairs.csv", *reference.columns)


def _of_amendments(named: KnownNames) -> Iterable[Finding]:
    sheets, rows = named.sheets, _amendments(named.sheets)
    factors = factors_here(named) if rows else {}
    outlets = {_outlet(row): row for row in sheets["outlets.csv"] if row.sound(*_OUTLET)}
    revisions: dict[RecordNames, int] = defaultdict(lambda: 1)
    last = {_outlet(row): row for row in rows}
    for row in rows:
        revisions[_outlet(row)] += 1
        if _outlet(row) not in outlets:
            yield duplicate(row, _OUTLET, FILES["amendments.csv"].reference(*_OUTLET).expected)
        elif int(row.cells["revision"]) != revisions[_outlet(row)]:
            yield duplicate(row, ("revision",), f"{revisions[_outlet(row)]}: the outlet as first typed is revision 1")
        yield from _of_one_outlet(row, sheets)
        if last[_outlet(row)] is not row:  # the last one is looked at with the outlets
            yield from outlet_findings(row, factors)
    for names in last.keys() & outlets.keys():
        yield from outlet_findings(outlets[names], factors)


def _of_one_outlet(row: TypedRow, sheets: Sheets) -> Iterable[Finding]:
    for factor in sheets["factors.csv"]:
        own = factor.get("factor") == row.get("found_factor") and factor.get("scope") not in (None, THIS_TYPE)
        if own and row.sound("found_factor") and _outlet(factor) != _outlet(row):
            yield row.finding("found_factor", f"a factor of this outlet; it was found for {factor.get('outlet')}")
            return


def amended_outlets(sheets: Sheets) -> frozenset[RecordNames]:
    """Outlets that this import brings with amendments."""
    return frozenset(_outlet(row) for row in sheets["amendments.csv"])
