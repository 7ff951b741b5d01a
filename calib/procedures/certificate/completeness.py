"""What a certificate states, and what is missing: ISO/IEC 17025:2017, 7.8.2.1 (reports) and 7.8.4.1 (calibration certificates).

The clauses are held against what the records keep of the certificate. What a person finds in the certificate itself only (title,
customer, place, who authorised it, that it relates to this item only) is listed as to be read there. Clauses from memory, no text
is reproduced.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from calib.counted import count_of
from calib.procedures.typed.sheets import Cells
from calib.records.words import PHASES

STATED, MISSING, READ = "stated", "missing", "to be read in the certificate"


@dataclass(frozen=True)
class Item:
    """One thing that a certificate must state."""

    clause: str
    what: str
    state: str  # STATED, MISSING or READ
    value: str | None = None  # as it is stated


@dataclass(frozen=True)
class CertificateOnRecord:
    """What the records keep of a certificate."""

    calibration: Cells
    comparisons: Sequence[Cells]
    standards: Sequence[str]  # tags of reference standards in the register
    files: int  # number of files kept with it


_Stated = Callable[[CertificateOnRecord], str | None]


def completeness(certificate: CertificateOnRecord) -> list[Item]:
    """Every item of the clauses with its state, in their order."""
    checked = [
        Item(clause, what, MISSING if (value := stated(certificate)) is None else STATED, value)
        for clause, what, stated in _ITEMS
    ]
    return [*checked, *(Item(clause, what, READ) for clause, what in _TO_BE_READ)]


def missing(certificate: CertificateOnRecord) -> list[Item]:
    """Items that the certificate does not state."""
    return [item for item in completeness(certificate) if item.state == MISSING]


def _cell(column: str) -> _Stated:
    return lambda certificate: certificate.calibration.get(column)


def _uncertainty(certificate: CertificateOnRecord) -> str | None:
    with_u = [
        each for each in certificate.comparisons if each.get("expanded_uncertainty") and each.get("coverage_factor")
    ]
    return f"U and k of {len(with_u)} comparisons" if with_u and len(with_u) == len(certificate.comparisons) else None


def _results(certificate: CertificateOnRecord) -> str | None:
    units = dict.fromkeys(str(each["unit"]) for each in certificate.comparisons if each.get("unit"))
    return f"{len(certificate.comparisons)} comparisons in {', '.join(units)}" if units else None


def _traceability(certificate: CertificateOnRecord) -> str | None:
    return certificate.calibration.get("traceability") or ("; ".join(certificate.standards) or None)


def _adjustment(certificate: CertificateOnRecord) -> str | None:
    phases = [phase for phase in PHASES if any(each.get("phase") == phase for each in certificate.comparisons)]
    adjusted = certificate.calibration.get("adjustment")
    if adjusted == "no":
        return "no adjustment was made"
    if len(phases) == 2:
        return "comparisons as found and as left"
    return None


def _file(certificate: CertificateOnRecord) -> str | None:
    return count_of(certificate.files, "file", "files") if certificate.files else None


_ITEMS: tuple[tuple[str, str, _Stated], ...] = (
    ("7.8.2.1 b", "name of the laboratory", _cell("laboratory")),
    ("7.8.2.1 d", "unique identification", _cell("certificate")),
    ("7.8.2.1 f", "method used (procedure)", _cell("procedure")),
    ("7.8.2.1 h", "day on which the laboratory received the instrument, where that is critical", _cell("received_on")),
    ("7.8.2.1 i", "day of the calibration", _cell("calibrated_on")),
    ("7.8.2.1 j", "day of issue", _cell("issued_on")),
    ("7.8.2.1 m", "results with units", _results),
    ("7.8.4.1 a", "measurement uncertainty in the unit of the results, with its coverage factor", _uncertainty),
    ("7.8.4.1 b", "ambient temperature during the calibration [degC]", _cell("temperature_degC")),
    ("7.8.4.1 b", "ambient pressure during the calibration [kPa]", _cell("pressure_kPa")),
    ("7.8.4.1 b", "relative humidity during the calibration [%]", _cell("humidity_percent")),
    ("7.8.4.1 c", "how the results are traceable: a statement, or reference standards of the register", _traceability),
    ("7.8.4.1 d", "whether it was adjusted, and then the results before and after", _adjustment),
    ("6.4.13 e", "the certificate itself, kept with the records", _file),
)
_TO_BE_READ = (
    ("7.8.2.1 a, c, e", "title, place of the calibration, customer"),
    ("7.8.2.1 g", "description and serial number of the instrument, as in the register"),
    ("7.8.2.1 l, o", "that the results relate to this instrument only, and who authorised the certificate"),
    ("7.8.2.1 n, p", "deviations from the method; results from others, marked as such"),
    ("7.8.4.1 e", "statement of conformity with its decision rule, where one was asked for"),
)
