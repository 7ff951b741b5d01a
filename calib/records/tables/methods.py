"""Methods of measuring, and each as it was amended."""

import math
from typing import ClassVar

from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field

from calib.records.tables.row import Row, are_above_zero, are_not_blank, are_not_negative, is_one_of
from calib.records.words import PATTERNS


def _of_method() -> tuple[CheckConstraint, ...]:
    return (
        *are_not_blank("basis"),
        *are_not_negative(
            "relative_standard_uncertainty_percent",
            "common_standard_uncertainty_percent",
            "own_standard_uncertainty_percent",
            "share_below_interval_percent",
        ),
        is_one_of("pattern", *PATTERNS),
        *are_above_zero("degrees_of_freedom", "common_degrees_of_freedom", "own_degrees_of_freedom"),
        CheckConstraint(
            "(relative_standard_uncertainty_percent IS NOT NULL AND common_standard_uncertainty_percent IS NULL "
            "AND own_standard_uncertainty_percent IS NULL) OR (relative_standard_uncertainty_percent IS NULL "
            "AND common_standard_uncertainty_percent IS NOT NULL AND own_standard_uncertainty_percent IS NOT NULL)",
            name="single_figure_or_both",
        ),
    )


class _Named(Row):
    id: int | None = Field(default=None, primary_key=True)
    method: str = Field(unique=True)


class _MethodAsTyped(Row):
    """What is declared of a method, at first and whenever it is amended."""

    relative_standard_uncertainty_percent: str | None = None  # a single figure: what readings share of it is not known
    basis: str
    pattern: str | None = None  # where and how the instrument is held
    degrees_of_freedom: str | None = None  # of the declared uncertainty; absent: taken as exactly known
    common_standard_uncertainty_percent: str | None = None  # that all readings by the method share
    common_degrees_of_freedom: str | None = None
    own_standard_uncertainty_percent: str | None = None  # of each reading by itself
    own_degrees_of_freedom: str | None = None
    share_below_interval_percent: str | None = None  # of the flow, that points below the lowest comparison may carry

    @property
    def declared_percent(self) -> float:
        """Relative standard uncertainty of one reading by it [%]: the single figure, or the root of the sum of both squares."""
        if self.relative_standard_uncertainty_percent is not None:
            return float(self.relative_standard_uncertainty_percent)
        return math.hypot(
            float(self.common_standard_uncertainty_percent or 0), float(self.own_standard_uncertainty_percent or 0)
        )


class Method(_MethodAsTyped, _Named, table=True):
    """A way of measuring, with the standard uncertainty that the company declares for it."""

    __tablename__: ClassVar[str] = "method"
    __table_args__ = (*are_not_blank("method"), *_of_method())


class MethodRevision(_MethodAsTyped, table=True):
    """A method as it was amended: the whole of it, with the reason. The latest revision counts."""

    __tablename__: ClassVar[str] = "method_revision"
    __table_args__ = (
        UniqueConstraint("method_id", "revision"),
        CheckConstraint("revision > 1", name="revision_above_1"),
        *are_not_blank("reason"),
        *_of_method(),
    )
    id: int | None = Field(default=None, primary_key=True)
    method_id: int = Field(foreign_key="method.id", index=True)
    revision: int  # the method as first declared is revision 1
    reason: str
