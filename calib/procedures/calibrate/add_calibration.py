"""Record one certificate with its comparisons, and the file that it came as."""

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime

from sqlmodel import Session

from calib.confirmation.words import SIMPLE
from calib.errors import BadInputError, Finding
from calib.procedures.certificate.departures import departures, of_criterion, of_reason
from calib.procedures.certificate.permissible_error import has_limits
from calib.procedures.enter.import_sheets import import_sheets
from calib.procedures.fleet.attach_file import FileRead, attach_to_calibration
from calib.procedures.on_record.by_name import instrument_tagged
from calib.procedures.on_record.calibrations import CalibrationOnFile, calibration_on_file
from calib.procedures.on_record.names_on_file import certificates_by_number
from calib.procedures.typed.sheets import Cells, TypedRow, typed_row
from calib.records import ledger
from calib.records.record import typed


def add_calibration(
    session: Session,
    cells: Mapping[str, str | None],
    comparisons: Sequence[TypedRow],
    file: FileRead | None,
    signature: ledger.Signature,
    now: datetime,
    remark: Callable[[str], None] = lambda _: None,
    correlations: Sequence[TypedRow] = (),
    source: str | None = None,
    *,
    sure: bool = True,
) -> CalibrationOnFile:
    """Append a calibration; `cells` are those of calibrations.csv. An acceptance in them is judged as `accept_calibration` does.

    `remark` is told of impact reviews that it opens, and of comparisons that lie outside the instrument's range; `source` is the
    file that the cells come from, where they were not typed; `sure` is as in `import_sheets`.
    Raises NotInRecordsError, or BadInputError with every finding, nothing written.
    """
    tag, certificate = cells["tag"] or "", cells["certificate"] or ""
    instrument = typed(instrument_tagged(session, tag))
    row = dict(cells)
    if row.get("accepted_on"):
        differ = departures(instrument, row.get("decision_rule"), row.get("judged"), row.get("criterion"))
        finding = of_reason(differ, row.get("departure_reason")) or of_criterion(instrument, row.get("criterion"))
        if finding is not None:
            raise BadInputError([finding])
        if has_limits(instrument):
            row["decision_rule"] = row.get("decision_rule") or instrument["decision_rule"] or SIMPLE
    sheets = {
        "calibrations.csv": [typed_row(source, row)],
        "comparisons.csv": comparisons,
        "correlations.csv": correlations,
    }
    for told in import_sheets(session, sheets, signature, now, strict=True, sure=sure).remarks:
        remark(told)
    if file is not None:
        attach_to_calibration(session, tag, certificate.strip(), file, None, signature)
    return calibration_on_file(session, tag, certificate.strip())


def must_be_new(session: Session, tag: str, certificate: str) -> Cells:
    """Cells of the instrument whose certificate is to be typed; raises NotInRecordsError, BadInputError where it is on record."""
    instrument = typed(instrument_tagged(session, tag))
    if certificate.strip() in certificates_by_number(session, tag):
        raise BadInputError(
            [Finding.typed("certificate", certificate, f"a new certificate of {tag}; this one is on record")]
        )
    return instrument
