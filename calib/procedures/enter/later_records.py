"""What came after the first typing, as an export writes it and an import reads it back.

events.csv       suspensions, releases, damage, repairs, moves, retirements, interval changes
checks.csv       intermediate checks; whether one passed follows from its limits
pairings.csv     probes and the meters that they are used with
curves.csv       curves that a person chose instead of the rule
supersessions.csv  certificates that their laboratory reissued, each with the one that it issued instead
withdrawals.csv  calibrations that were recorded wrongly, and count for nothing
factors.csv      outlet factors found in the field, as they were stored; factor_pairs.csv has the readings that they rest on
amendments.csv   outlets as they were amended, each time the whole of them; likewise instrument_amendments.csv,
                 method_amendments.csv and job_amendments.csv

Readings are checked against outlets as they were last amended: so they are evaluated. Events, checks and pairings may speak of what
is on record already; the others of what the same import brings.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence

from calib.errors import Finding
from calib.procedures.enter.check_certificates import instrument_findings
from calib.procedures.enter.check_jobs import agreement_whole, figures_together, outlet_findings
from calib.procedures.typed.columns import FILES
from calib.procedures.typed.declaration import RecordNames
from calib.procedures.typed.rows_together import KnownNames, TypedCells, duplicate, repeated
from calib.procedures.typed.sheets import Cells, Sheets, TypedRow
from calib.records.tables.instruments import Instrument
from calib.records.words import INTERVAL_CHANGE, THIS_TYPE

_OUTLET = ("job", "outlet")


# --- outlets and factors as the other rows see them ------------------------------------------------------------------------------


# File of what was amended -> the file that it amends, and the columns that say which record it is.
_AMENDING = {
    "amendments.csv": ("outlets.csv", _OUTLET),
    "instrument_amendments.csv": ("instruments.csv", ("tag",)),
    "method_amendments.csv": ("methods.csv", ("method",)),
    "job_amendments.csv": ("jobs.csv", ("job",)),
}


def in_force(sheets: Sheets) -> Sheets:
    """The sheets with each amended record as its last amendment has it."""
    amended = {}
    for file, (first, names) in _AMENDING.items():
        last = {_named(row, names): row for row in _amendments(sheets, file)}
        amended[first] = [_amended(row, last.get(_named(row, names))) for row in sheets[first]]
    return {**sheets, **amended}


def states_of_instruments(sheets: Sheets) -> Mapping[str, Sequence[Cells]]:
    """Instruments that the sheets bring, by tag: as first typed, and after each amendment."""
    states: dict[str, list[Cells]] = defaultdict(list)
    for row in (*sheets["instruments.csv"], *_amendments(sheets, "instrument_amendments.csv")):
        if row.sound("tag"):
            states[row.cells["tag"]].append(TypedCells(row.cells, row.bad))
    return states


def _amendments(sheets: Sheets, file: str) -> list[TypedRow]:
    rows = [row for row in sheets[file] if row.sound(*_AMENDING[file][1], "revision")]
    return sorted(rows, key=lambda row: int(row.cells["revision"]))


def _named(row: TypedRow, names: Sequence[str]) -> RecordNames:
    return tuple(row.cells.get(name, "") for name in names)


def _outlet(row: TypedRow) -> RecordNames:
    return _named(row, _OUTLET)


def _amended(first: TypedRow, last: TypedRow | None) -> TypedRow:
    if last is None:
        return first
    cells = {name: cell for name, cell in last.cells.items() if name not in ("revision", "reason", "holds_from")}
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
    factors = factors_here(named) if named.sheets["amendments.csv"] else {}
    whole: dict[str, Callable[[TypedRow], Iterable[Finding]]] = {
        "amendments.csv": lambda row: outlet_findings(row, factors),
        "instrument_amendments.csv": instrument_findings,
        "method_amendments.csv": figures_together,
        "job_amendments.csv": agreement_whole,
    }
    for file, findings_of in whole.items():
        yield from _of_file(named, file, findings_of)


def _of_file(named: KnownNames, file: str, findings_of: Callable[[TypedRow], Iterable[Finding]]) -> Iterable[Finding]:
    """Amendments speak of what the same import brings, are counted, and are whole; the last stands for the first elsewhere."""
    rows, (first, names) = _amendments(named.sheets, file), _AMENDING[file]
    brought = {_named(row, names): row for row in named.sheets[first] if row.sound(*names)}
    revisions: dict[RecordNames, int] = defaultdict(lambda: 1)
    last = {_named(row, names): row for row in rows}
    for row in rows:
        record = _named(row, names)
        revisions[record] += 1
        if record not in brought:
            yield duplicate(row, tuple(names), FILES[file].reference(*names).expected)
        elif int(row.cells["revision"]) != revisions[record]:
            what = "outlet" if file == "amendments.csv" else file.partition("_")[0]
            yield duplicate(row, ("revision",), f"{revisions[record]}: the {what} as first typed is revision 1")
        if file == "amendments.csv":
            yield from _of_one_outlet(row, named.sheets)
        if last[record] is not row:
            yield from findings_of(row)
    for record in last.keys() & brought.keys():
        yield from findings_of(brought[record])


def _of_one_outlet(row: TypedRow, sheets: Sheets) -> Iterable[Finding]:
    for factor in sheets["factors.csv"]:
        own = factor.get("factor") == row.get("found_factor") and factor.get("scope") not in (None, THIS_TYPE)
        if own and row.sound("found_factor") and _outlet(factor) != _outlet(row):
            yield row.finding("found_factor", f"a factor of this outlet; it was found for {factor.get('outlet')}")
            return


def amended_outlets(sheets: Sheets) -> frozenset[RecordNames]:
    """Outlets that this import brings with amendments."""
    return frozenset(_outlet(row) for row in sheets["amendments.csv"])
