"""Ducts and traverses, hoods, conditions of the air, factors found in the field, amended outlets, rooms, designs of systems.

Revision 0002.
"""

import sqlalchemy as sa
from alembic import op

from calib.records.migrations import on_postgresql

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

NEW = (
    "system_design",
    "room",
    "outlet_revision",
    "condition",
    "traverse",
    "traverse_point",
    "found_factor",
    "factor_pair",
)
PATTERNS = "'spot grid', 'sweep', 'centre', 'traverse', 'hood'"


def upgrade() -> None:
    _instruments_and_methods()
    _outlets()
    _outlet_revisions()
    _designs_and_rooms()
    _conditions()
    _traverses()
    _readings()
    _found_factors()
    for table in NEW if on_postgresql.is_here() else ("outlet", *NEW):
        _guard(table)


def _instruments_and_methods() -> None:
    above_0 = "CAST(reference_pressure_kPa AS REAL) > 0"
    effects = "density_effect IN ('thermal', 'vane friction', 'velocity pressure')"
    op.add_column("instrument", _checked("density_effect", effects, "density_effect_is_known"))
    op.add_column("instrument", sa.Column("reference_temperature_degC", sa.String(), nullable=True))
    op.add_column("instrument", _checked("reference_pressure_kPa", above_0, "reference_pressure_kPa_above_0"))
    op.add_column(
        "instrument", _checked("resistance_ratio", "CAST(resistance_ratio AS REAL) > 1", "resistance_ratio_above_1")
    )
    op.add_column(
        "instrument",
        _checked(
            "resistance_ratio_standard_uncertainty",
            "CAST(resistance_ratio_standard_uncertainty AS REAL) >= 0",
            "resistance_ratio_standard_uncertainty_not_negative",
        ),
    )
    op.add_column("method", _checked("pattern", f"pattern IN ({PATTERNS})", "pattern_is_known"))
    op.add_column(
        "method", _checked("degrees_of_freedom", "CAST(degrees_of_freedom AS REAL) > 0", "degrees_of_freedom_above_0")
    )


def _checked(column: str, condition: str, name: str) -> sa.Column[str]:
    return sa.Column(column, sa.String(), sa.CheckConstraint(condition, name=name), nullable=True)


_TYPED = (
    "place", "in_totals", "room", "outlet_type", "shape", "width", "height", "diameter", "dimension_unit", "dimension_limit",
    "outlet_factor", "outlet_factor_standard_uncertainty", "outlet_factor_source", "outlet_factor_reason", "effective_area",
    "effective_area_unit", "effective_area_standard_uncertainty", "found_factor", "design_flow", "flow_unit",
    "tolerance_percent",
)  # fmt: skip
_ABOVE_0 = ("width", "height", "diameter", "outlet_factor", "effective_area", "design_flow", "tolerance_percent")
_NOT_NEGATIVE = ("dimension_limit", "outlet_factor_standard_uncertainty", "effective_area_standard_uncertainty")


def _outlet_as_typed() -> list[sa.Column[str] | sa.CheckConstraint]:
    return [
        sa.Column("system", sa.String(), nullable=False),
        sa.Column("service", sa.String(), nullable=False),
        *(sa.Column(name, sa.String(), nullable=True) for name in _TYPED),
        sa.CheckConstraint("length(system) > 0", name="system_not_blank"),
        sa.CheckConstraint("service IN ('supply', 'return', 'exhaust')", name="service_is_known"),
        sa.CheckConstraint("shape IN ('rectangular', 'round', 'flat-oval')", name="shape_is_known"),
        sa.CheckConstraint("place IN ('outlet', 'duct')", name="place_is_known"),
        sa.CheckConstraint("in_totals IN ('yes', 'no')", name="in_totals_is_known"),
        *(sa.CheckConstraint(f"CAST({name} AS REAL) > 0", name=f"{name}_above_0") for name in _ABOVE_0),
        *(sa.CheckConstraint(f"CAST({name} AS REAL) >= 0", name=f"{name}_not_negative") for name in _NOT_NEGATIVE),
        sa.CheckConstraint(
            "(outlet_factor IS NULL OR effective_area IS NULL) AND (outlet_factor IS NULL OR found_factor IS NULL) "
            "AND (effective_area IS NULL OR found_factor IS NULL)",
            name="one_factor_at_most",
        ),
        sa.CheckConstraint(
            "place IS NULL OR place <> 'duct' "
            "OR (outlet_factor IS NULL AND effective_area IS NULL AND found_factor IS NULL)",
            name="duct_without_factor",
        ),
    ]


_OF_0001 = (
    "id", "job_id", "outlet", "system", "service", "shape", "width", "height", "diameter", "dimension_unit", "dimension_limit",
    "outlet_factor", "outlet_factor_standard_uncertainty", "outlet_factor_source", "outlet_factor_reason", "effective_area",
    "effective_area_unit", "effective_area_standard_uncertainty", "design_flow", "flow_unit", "tolerance_percent",
)  # fmt: skip


def _outlets() -> None:
    """On SQLite a new table in the place of the old, since it cannot change a CHECK; foreign keys are off meanwhile."""
    if on_postgresql.is_here():
        _outlets_in_place()
        return
    op.create_table(
        "outlet_0002",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("outlet", sa.String(), nullable=False),
        *_outlet_as_typed(),
        sa.CheckConstraint("length(outlet) > 0", name="outlet_not_blank"),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("job_id", "outlet"),
    )
    listed = ", ".join(_OF_0001)
    op.execute(f"INSERT INTO outlet_0002 ({listed}) SELECT {listed} FROM outlet ORDER BY id")  # noqa: S608 (own names)
    op.drop_table("outlet")
    op.rename_table("outlet_0002", "outlet")
    op.create_index(op.f("ix_outlet_job_id"), "outlet", ["job_id"], unique=False)


def _outlets_in_place() -> None:
    for name in ("place", "in_totals", "room", "outlet_type", "found_factor"):
        op.add_column("outlet", sa.Column(name, sa.String(), nullable=True))
    op.alter_column("outlet", "outlet_factor_source", nullable=True)
    for name in ("shape_is_known", "factor_or_effective_area"):
        op.drop_constraint(name, "outlet", type_="check")
    added = ("shape_is_known", "place_is_known", "in_totals_is_known", "one_factor_at_most", "duct_without_factor")
    for constraint in _outlet_as_typed():
        if isinstance(constraint, sa.CheckConstraint) and constraint.name in added:
            op.create_check_constraint(str(constraint.name), "outlet", constraint.sqltext)


def _outlet_revisions() -> None:
    op.create_table(
        "outlet_revision",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("outlet_id", sa.Integer(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        *_outlet_as_typed(),
        sa.CheckConstraint("revision > 1", name="revision_above_1"),
        sa.CheckConstraint("length(reason) > 0", name="reason_not_blank"),
        sa.ForeignKeyConstraint(["outlet_id"], ["outlet.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("outlet_id", "revision"),
    )
    op.create_index(op.f("ix_outlet_revision_outlet_id"), "outlet_revision", ["outlet_id"], unique=False)


def _designs_and_rooms() -> None:
    op.create_table(
        "system_design",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("system", sa.String(), nullable=False),
        sa.Column("service", sa.String(), nullable=False),
        sa.Column("design_flow", sa.String(), nullable=False),
        sa.Column("flow_unit", sa.String(), nullable=False),
        sa.Column("tolerance_percent", sa.String(), nullable=False),
        sa.CheckConstraint("length(system) > 0", name="system_not_blank"),
        sa.CheckConstraint("service IN ('supply', 'return', 'exhaust')", name="service_is_known"),
        sa.CheckConstraint("CAST(design_flow AS REAL) > 0", name="design_flow_above_0"),
        sa.CheckConstraint("CAST(tolerance_percent AS REAL) > 0", name="tolerance_percent_above_0"),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("job_id", "system", "service"),
    )
    op.create_index(op.f("ix_system_design_job_id"), "system_design", ["job_id"], unique=False)
    op.create_table(
        "room",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("room", sa.String(), nullable=False),
        sa.Column("pressure", sa.String(), nullable=False),
        sa.CheckConstraint("length(room) > 0", name="room_not_blank"),
        sa.CheckConstraint("pressure IN ('positive', 'negative')", name="pressure_is_known"),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("job_id", "room"),
    )
    op.create_index(op.f("ix_room_job_id"), "room", ["job_id"], unique=False)


def _conditions() -> None:
    quantities = "'temperature', 'barometric pressure', 'static pressure', 'relative humidity'"
    op.create_table(
        "condition",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("conditions", sa.String(), nullable=False),
        sa.Column("observed_at", sa.String(), nullable=False),
        sa.Column("quantity", sa.String(), nullable=False),
        sa.Column("value", sa.String(), nullable=False),
        sa.Column("unit", sa.String(), nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=True),
        sa.Column("standard_uncertainty", sa.String(), nullable=True),
        sa.Column("source", sa.String(), nullable=True),
        sa.CheckConstraint("length(conditions) > 0", name="conditions_not_blank"),
        sa.CheckConstraint("observed_at LIKE '____-__-__T__:__%'", name="observed_at_is_a_time"),
        sa.CheckConstraint(f"quantity IN ({quantities})", name="quantity_is_known"),
        sa.CheckConstraint("CAST(standard_uncertainty AS REAL) >= 0", name="standard_uncertainty_not_negative"),
        sa.CheckConstraint("(instrument_id IS NULL) <> (standard_uncertainty IS NULL)", name="instrument_or_stated"),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"]),
        sa.ForeignKeyConstraint(["instrument_id"], ["instrument.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("job_id", "conditions", "quantity"),
    )
    op.create_index(op.f("ix_condition_job_id"), "condition", ["job_id"], unique=False)


def _traverses() -> None:
    op.create_table(
        "traverse",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("rule", sa.String(), nullable=False),
        sa.Column("lines", sa.Integer(), nullable=False),
        sa.Column("points", sa.Integer(), nullable=False),
        sa.CheckConstraint("rule IN ('equal-area', 'log-Tchebycheff', 'log-linear')", name="rule_is_known"),
        sa.CheckConstraint("CAST(lines AS REAL) > 0", name="lines_above_0"),
        sa.CheckConstraint("CAST(points AS REAL) > 0", name="points_above_0"),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "traverse_point",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("traverse_id", sa.Integer(), nullable=False),
        sa.Column("line", sa.Integer(), nullable=False),
        sa.Column("point", sa.Integer(), nullable=False),
        sa.Column("indications", sa.String(), nullable=False),
        sa.CheckConstraint("CAST(line AS REAL) > 0", name="line_above_0"),
        sa.CheckConstraint("CAST(point AS REAL) > 0", name="point_above_0"),
        sa.CheckConstraint("length(indications) > 0", name="indications_not_blank"),
        sa.ForeignKeyConstraint(["traverse_id"], ["traverse.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("traverse_id", "line", "point"),
    )
    op.create_index(op.f("ix_traverse_point_traverse_id"), "traverse_point", ["traverse_id"], unique=False)


def _readings() -> None:
    for table in ("reading", "refusal"):
        # Alembic adds a foreign key with its column on SQLite in no other way.
        op.execute(f"ALTER TABLE {table} ADD COLUMN probe_id INTEGER REFERENCES instrument (id)")
        op.add_column(table, sa.Column("conditions", sa.String(), nullable=True))
        op.add_column(table, sa.Column("throttled_observations", sa.String(), nullable=True))
        op.execute(f"ALTER TABLE {table} ADD COLUMN traverse_id INTEGER REFERENCES traverse (id)")


def _found_factors() -> None:
    op.create_table(
        "found_factor",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("factor", sa.String(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("scope", sa.String(), nullable=False),
        sa.Column("outlet_id", sa.Integer(), nullable=True),
        sa.Column("outlet_type", sa.String(), nullable=True),
        sa.Column("instrument_id", sa.Integer(), nullable=False),
        sa.Column("calibration_id", sa.Integer(), nullable=False),
        sa.Column("method_id", sa.Integer(), nullable=False),
        sa.Column("value", sa.Float(), nullable=False),
        sa.Column("effective_area", sa.Float(), nullable=True),
        sa.Column("relative_spread", sa.Float(), nullable=False),
        sa.Column("degrees_of_freedom", sa.Float(), nullable=True),
        sa.Column("relative_reference", sa.Float(), nullable=False),
        sa.Column("relative_instrument", sa.Float(), nullable=False),
        sa.Column("face_indications", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.CheckConstraint("length(factor) > 0", name="factor_not_blank"),
        sa.CheckConstraint("length(reason) > 0", name="reason_not_blank"),
        sa.CheckConstraint("scope IN ('this outlet', 'this type')", name="scope_is_known"),
        sa.CheckConstraint("CAST(value AS REAL) > 0", name="value_above_0"),
        sa.CheckConstraint("CAST(revision AS REAL) > 0", name="revision_above_0"),
        sa.CheckConstraint("CAST(relative_spread AS REAL) >= 0", name="relative_spread_not_negative"),
        sa.CheckConstraint("CAST(relative_reference AS REAL) >= 0", name="relative_reference_not_negative"),
        sa.CheckConstraint("CAST(relative_instrument AS REAL) >= 0", name="relative_instrument_not_negative"),
        sa.CheckConstraint("(outlet_id IS NULL) <> (outlet_type IS NULL)", name="outlet_or_type"),
        sa.CheckConstraint("CAST(effective_area AS REAL) > 0", name="effective_area_above_0"),
        sa.CheckConstraint("(effective_area IS NULL) = (outlet_id IS NULL)", name="effective_area_of_this_outlet"),
        *(
            sa.ForeignKeyConstraint([f"{table}_id"], [f"{table}.id"])
            for table in ("outlet", "instrument", "calibration", "method")
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("factor", "revision"),
    )
    op.create_table(
        "factor_pair",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("found_factor_id", sa.Integer(), nullable=False),
        sa.Column("traverse_reading_id", sa.Integer(), nullable=False),
        sa.Column("face_reading_id", sa.Integer(), nullable=False),
        sa.Column("value", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(["found_factor_id"], ["found_factor.id"]),
        sa.ForeignKeyConstraint(["traverse_reading_id"], ["reading.id"]),
        sa.ForeignKeyConstraint(["face_reading_id"], ["reading.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("found_factor_id", "traverse_reading_id", "face_reading_id"),
    )
    op.create_index(op.f("ix_factor_pair_found_factor_id"), "factor_pair", ["found_factor_id"], unique=False)


def _guard(table: str) -> None:
    if on_postgresql.is_here():
        on_postgresql.guard(table)
        return
    for verb in ("update", "delete"):
        op.execute(
            f"CREATE TRIGGER {table}_no_{verb} BEFORE {verb.upper()} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{table}: evidence is never changed; a correction is a new record'); END"
        )
