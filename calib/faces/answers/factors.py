"""Factors found in the field as they count now, as `calib factor list` answers."""

from collections.abc import Iterable

from calib.faces.parts.factor_revision import revision, where
from calib.faces.plain_text import table_text
from calib.faces.written import Content
from calib.procedures.factors.factors_on_file import FactorOnFile

_HEADER = ("factor", "revision", "holds for", "instrument", "certificate", "method", "K ± U", "pairs", "found", "by")


def document(factors: Iterable[FactorOnFile]) -> Content:
    """The latest revision of each."""
    return {"factors": [revision(factor) for factor in factors]}


def text(answer: Content) -> str:
    """The same for people."""
    return table_text(_HEADER, [_row(factor) for factor in answer["factors"]])


def _row(factor: Content) -> tuple[str, ...]:
    return (
        factor["factor"],
        str(factor["revision"]),
        where(factor),
        factor["instrument"],
        factor["certificate"],
        factor["method"],
        factor["same_calibration"]["statement"].removeprefix("K = "),
        str(len(factor["pairs"])),
        factor["found_at"],
        factor["found_by"],
    )
