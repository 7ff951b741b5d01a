"""What every table of the records is made of: its base, its keys, and the CHECK constraints that several tables have.

The database refuses UPDATE and DELETE on every table, and by CHECK constraints what no procedure may write. SQLModel does not
validate a table's rows: the procedures do, before they make one.
"""

from typing import Any

from sqlalchemy import BigInteger, CheckConstraint, Index, Integer, Table, text
from sqlmodel import SQLModel


class Row(SQLModel):
    """A row of a table. Nothing validates rows, so what would do so is not built: the tables are imported sooner."""

    model_config = {"defer_build": True}

    @classmethod
    def __table_cls__(cls, *declared: Any, **options: Any) -> Table:
        """The table, with keys that a server numbers in eight bytes, as SQLite does."""
        table = Table(*declared, **options)
        for column in table.columns:
            if isinstance(column.type, Integer) and (column.name in ("id", "sequence") or column.name.endswith("_id")):
                column.type = BigInteger().with_variant(Integer(), "sqlite")
        return table


def is_one_of(column: str, *words: str) -> CheckConstraint:
    """A column holds one of some words, or nothing."""
    listed = ", ".join(f"'{word}'" for word in words)
    return CheckConstraint(f"{column} IN ({listed})", name=f"{column}_is_known")


def is_a_decision_rule() -> CheckConstraint:
    """The decision rule of a job, or of the acceptance of an instrument's certificates."""
    return is_one_of("decision_rule", "simple", "guarded", "guarded non-binary")


def are_above_zero(*columns: str) -> tuple[CheckConstraint, ...]:
    """Columns hold numbers above 0, or nothing."""
    return tuple(CheckConstraint(f"CAST({column} AS REAL) > 0", name=f"{column}_above_0") for column in columns)


def are_not_negative(*columns: str) -> tuple[CheckConstraint, ...]:
    """Columns hold numbers of 0 or more, or nothing."""
    return tuple(CheckConstraint(f"CAST({column} AS REAL) >= 0", name=f"{column}_not_negative") for column in columns)


def are_not_blank(*columns: str) -> tuple[CheckConstraint, ...]:
    """Columns hold some text, or nothing."""
    return tuple(CheckConstraint(f"length({column}) > 0", name=f"{column}_not_blank") for column in columns)


def are_days(*columns: str) -> tuple[CheckConstraint, ...]:
    """Columns hold days, as 2026-10-14, or nothing."""
    return tuple(CheckConstraint(f"{column} LIKE '____-__-__'", name=f"{column}_is_a_day") for column in columns)


def are_moments(*columns: str) -> tuple[CheckConstraint, ...]:
    """Columns hold times, as 2026-10-14T09:30+02:00, or nothing."""
    return tuple(
        CheckConstraint(f"{column} LIKE '____-__-__T__:__%'", name=f"{column}_is_a_time") for column in columns
    )


def one_style_of_tolerance() -> CheckConstraint:
    """A tolerance is equal on both sides, or each side in percent, or limits in the flow's unit: one of the three."""
    equal = "tolerance_percent IS NOT NULL"
    sides = "(tolerance_minus_percent IS NOT NULL OR tolerance_plus_percent IS NOT NULL)"
    flows = "(minimum_flow IS NOT NULL OR maximum_flow IS NOT NULL)"
    return CheckConstraint(
        f"NOT ({equal} AND {sides}) AND NOT ({equal} AND {flows}) AND NOT ({sides} AND {flows})",
        name="one_style_of_tolerance",
    )


TOLERANCES = ("tolerance_minus_percent", "tolerance_plus_percent")  # 0 is one: -0/+10 %
FLOW_LIMITS = ("minimum_flow", "maximum_flow")


class Limits(Row):
    """Limits of a flow that are unequal, on one side, or in the flow's own unit, instead of `tolerance_percent`."""

    tolerance_minus_percent: str | None = None
    tolerance_plus_percent: str | None = None
    minimum_flow: str | None = None
    maximum_flow: str | None = None


def unique_key(name: str, *columns: str) -> Index:
    """Rows of which one counts at a time: a key with an absent revision, or cause, taken as the first."""
    return Index(name, *(text(column) if "(" in column else column for column in columns), unique=True)
