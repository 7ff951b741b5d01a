"""The first schema.

Revision 0001.
"""

import sqlalchemy as sa
from alembic import op

from calib.records.migrations import on_postgresql

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

GUARDED = (
    "instrument",
    "calibration",
    "reference_standard",
    "comparison",
    "correction_curve",
    "acceptance",
    "event",
    "intermediate_check",
    "method",
    "job",
    "outlet",
    "logged_series",
    "reading",
    "refusal",
    "ledger",
)


def upgrade() -> None:
    op.create_table(
        "instrument",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("tag", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("maker", sa.String(), nullable=False),
        sa.Column("model", sa.String(), nullable=False),
        sa.Column("serial", sa.String(), nullable=False),
        sa.Column("quantity", sa.String(), nullable=False),
        sa.Column("range_low", sa.String(), nullable=False),
        sa.Column("range_high", sa.String(), nullable=False),
        sa.Column("unit", sa.String(), nullable=False),
        sa.Column("resolution", sa.String(), nullable=False),
        sa.Column("mpe_percent", sa.String(), nullable=True),
        sa.Column("mpe_absolute", sa.String(), nullable=True),
        sa.Column("interval_months", sa.Integer(), nullable=False),
        sa.Column("location", sa.String(), nullable=True),
        sa.Column("repeatability", sa.String(), nullable=True),
        sa.Column("stability_percent", sa.String(), nullable=True),
        sa.Column("stability_absolute", sa.String(), nullable=True),
        sa.Column("stability_basis", sa.String(), nullable=True),
        sa.Column("custodian", sa.String(), nullable=True),
        sa.Column("firmware", sa.String(), nullable=True),
        sa.Column("check_interval_days", sa.Integer(), nullable=True),
        sa.Column("indication_quantity", sa.String(), nullable=True),
        sa.CheckConstraint("CAST(interval_months AS REAL) > 0", name="interval_months_above_0"),
        sa.CheckConstraint("CAST(mpe_absolute AS REAL) >= 0", name="mpe_absolute_not_negative"),
        sa.CheckConstraint("CAST(mpe_percent AS REAL) >= 0", name="mpe_percent_not_negative"),
        sa.CheckConstraint("CAST(range_low AS REAL) < CAST(range_high AS REAL)", name="range_rises"),
        sa.CheckConstraint("CAST(repeatability AS REAL) >= 0", name="repeatability_not_negative"),
        sa.CheckConstraint("CAST(resolution AS REAL) > 0", name="resolution_above_0"),
        sa.CheckConstraint("CAST(stability_absolute AS REAL) >= 0", name="stability_absolute_not_negative"),
        sa.CheckConstraint("CAST(stability_percent AS REAL) >= 0", name="stability_percent_not_negative"),
        sa.CheckConstraint("length(tag) > 0", name="tag_not_blank"),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("tag"),
    )
    op.create_table(
        "job",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("job", sa.String(), nullable=False),
        sa.Column("title", sa.String(), nullable=True),
        sa.Column("site", sa.String(), nullable=True),
        sa.Column("client", sa.String(), nullable=True),
        sa.Column("decision_rule", sa.String(), nullable=False),
        sa.CheckConstraint(
            "decision_rule IN ('simple', 'guarded', 'guarded non-binary')", name="decision_rule_is_known"
        ),
        sa.CheckConstraint("length(job) > 0", name="job_not_blank"),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("job"),
    )
    op.create_table(
        "ledger",
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("time", sa.String(), nullable=False),
        sa.Column("person", sa.String(), nullable=False),
        sa.Column("action", sa.String(), nullable=False),
        sa.Column("record_table", sa.String(), nullable=False),
        sa.Column("record_id", sa.Integer(), nullable=False),
        sa.Column("record_digest", sa.String(), nullable=False),
        sa.Column("previous", sa.String(), nullable=False),
        sa.Column("digest", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("sequence"),
        sa.UniqueConstraint("digest"),
        sa.UniqueConstraint("previous"),
        sa.UniqueConstraint("record_table", "record_id"),
    )
    op.create_table(
        "logged_series",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.CheckConstraint("length(name) > 0", name="name_not_blank"),
        sa.CheckConstraint("length(sha256) > 0", name="sha256_not_blank"),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "method",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("method", sa.String(), nullable=False),
        sa.Column("relative_standard_uncertainty_percent", sa.String(), nullable=False),
        sa.Column("basis", sa.String(), nullable=False),
        sa.CheckConstraint(
            "CAST(relative_standard_uncertainty_percent AS REAL) >= 0",
            name="relative_standard_uncertainty_percent_not_negative",
        ),
        sa.CheckConstraint("length(basis) > 0", name="basis_not_blank"),
        sa.CheckConstraint("length(method) > 0", name="method_not_blank"),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("method"),
    )
    op.create_table(
        "calibration",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=False),
        sa.Column("certificate", sa.String(), nullable=False),
        sa.Column("laboratory", sa.String(), nullable=False),
        sa.Column("accreditation", sa.String(), nullable=True),
        sa.Column("calibrated_on", sa.String(), nullable=False),
        sa.Column("due_on", sa.String(), nullable=True),
        sa.Column("temperature_degC", sa.String(), nullable=True),
        sa.Column("pressure_kPa", sa.String(), nullable=True),
        sa.Column("humidity_percent", sa.String(), nullable=True),
        sa.CheckConstraint("calibrated_on LIKE '____-__-__'", name="calibrated_on_is_a_day"),
        sa.CheckConstraint("due_on LIKE '____-__-__'", name="due_on_is_a_day"),
        sa.CheckConstraint("length(certificate) > 0", name="certificate_not_blank"),
        sa.CheckConstraint("length(laboratory) > 0", name="laboratory_not_blank"),
        sa.ForeignKeyConstraint(
            ["instrument_id"],
            ["instrument.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("instrument_id", "certificate"),
        sa.UniqueConstraint("laboratory", "certificate"),
    )
    op.create_index(op.f("ix_calibration_instrument_id"), "calibration", ["instrument_id"], unique=False)
    op.create_table(
        "event",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.CheckConstraint("at LIKE '____-__-__T__:__%'", name="at_is_a_time"),
        sa.CheckConstraint(
            "kind IN ('suspension', 'release', 'damage', 'repair', 'move', 'retirement', 'interval change')",
            name="kind_is_known",
        ),
        sa.CheckConstraint("length(reason) > 0", name="reason_not_blank"),
        sa.ForeignKeyConstraint(
            ["instrument_id"],
            ["instrument.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_event_instrument_id"), "event", ["instrument_id"], unique=False)
    op.create_table(
        "intermediate_check",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("value", sa.String(), nullable=False),
        sa.Column("low", sa.String(), nullable=False),
        sa.Column("high", sa.String(), nullable=False),
        sa.Column("unit", sa.String(), nullable=False),
        sa.Column("result", sa.String(), nullable=False),
        sa.Column("remarks", sa.String(), nullable=True),
        sa.CheckConstraint("at LIKE '____-__-__T__:__%'", name="at_is_a_time"),
        sa.CheckConstraint("kind IN ('zero', 'comparison', 'check standard')", name="kind_is_known"),
        sa.CheckConstraint("result IN ('passed', 'failed')", name="result_is_known"),
        sa.ForeignKeyConstraint(
            ["instrument_id"],
            ["instrument.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_intermediate_check_instrument_id"), "intermediate_check", ["instrument_id"], unique=False)
    op.create_table(
        "outlet",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("outlet", sa.String(), nullable=False),
        sa.Column("system", sa.String(), nullable=False),
        sa.Column("service", sa.String(), nullable=False),
        sa.Column("shape", sa.String(), nullable=True),
        sa.Column("width", sa.String(), nullable=True),
        sa.Column("height", sa.String(), nullable=True),
        sa.Column("diameter", sa.String(), nullable=True),
        sa.Column("dimension_unit", sa.String(), nullable=True),
        sa.Column("dimension_limit", sa.String(), nullable=True),
        sa.Column("outlet_factor", sa.String(), nullable=True),
        sa.Column("outlet_factor_standard_uncertainty", sa.String(), nullable=True),
        sa.Column("outlet_factor_source", sa.String(), nullable=False),
        sa.Column("outlet_factor_reason", sa.String(), nullable=True),
        sa.Column("effective_area", sa.String(), nullable=True),
        sa.Column("effective_area_unit", sa.String(), nullable=True),
        sa.Column("effective_area_standard_uncertainty", sa.String(), nullable=True),
        sa.Column("design_flow", sa.String(), nullable=True),
        sa.Column("flow_unit", sa.String(), nullable=True),
        sa.Column("tolerance_percent", sa.String(), nullable=True),
        sa.CheckConstraint("service IN ('supply', 'return', 'exhaust')", name="service_is_known"),
        sa.CheckConstraint("shape IN ('rectangular', 'round')", name="shape_is_known"),
        sa.CheckConstraint("(outlet_factor IS NULL) <> (effective_area IS NULL)", name="factor_or_effective_area"),
        sa.CheckConstraint("CAST(design_flow AS REAL) > 0", name="design_flow_above_0"),
        sa.CheckConstraint("CAST(diameter AS REAL) > 0", name="diameter_above_0"),
        sa.CheckConstraint("CAST(dimension_limit AS REAL) >= 0", name="dimension_limit_not_negative"),
        sa.CheckConstraint("CAST(effective_area AS REAL) > 0", name="effective_area_above_0"),
        sa.CheckConstraint(
            "CAST(effective_area_standard_uncertainty AS REAL) >= 0",
            name="effective_area_standard_uncertainty_not_negative",
        ),
        sa.CheckConstraint("CAST(height AS REAL) > 0", name="height_above_0"),
        sa.CheckConstraint("CAST(outlet_factor AS REAL) > 0", name="outlet_factor_above_0"),
        sa.CheckConstraint(
            "CAST(outlet_factor_standard_uncertainty AS REAL) >= 0",
            name="outlet_factor_standard_uncertainty_not_negative",
        ),
        sa.CheckConstraint("CAST(tolerance_percent AS REAL) > 0", name="tolerance_percent_above_0"),
        sa.CheckConstraint("CAST(width AS REAL) > 0", name="width_above_0"),
        sa.CheckConstraint("length(outlet) > 0", name="outlet_not_blank"),
        sa.CheckConstraint("length(system) > 0", name="system_not_blank"),
        sa.ForeignKeyConstraint(
            ["job_id"],
            ["job.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("job_id", "outlet"),
    )
    op.create_index(op.f("ix_outlet_job_id"), "outlet", ["job_id"], unique=False)
    op.create_table(
        "acceptance",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("calibration_id", sa.Integer(), nullable=False),
        sa.Column("accepted_on", sa.String(), nullable=False),
        sa.Column("accepted_by", sa.String(), nullable=False),
        sa.Column("criterion", sa.String(), nullable=True),
        sa.CheckConstraint("accepted_on LIKE '____-__-__'", name="accepted_on_is_a_day"),
        sa.CheckConstraint("length(accepted_by) > 0", name="accepted_by_not_blank"),
        sa.ForeignKeyConstraint(
            ["calibration_id"],
            ["calibration.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("calibration_id"),
    )
    op.create_table(
        "comparison",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("calibration_id", sa.Integer(), nullable=False),
        sa.Column("phase", sa.String(), nullable=False),
        sa.Column("reference", sa.String(), nullable=False),
        sa.Column("indication", sa.String(), nullable=False),
        sa.Column("unit", sa.String(), nullable=False),
        sa.Column("indication_unit", sa.String(), nullable=True),
        sa.Column("expanded_uncertainty", sa.String(), nullable=False),
        sa.Column("coverage_factor", sa.String(), nullable=False),
        sa.Column("repeatability", sa.String(), nullable=True),
        sa.Column("observations", sa.String(), nullable=True),
        sa.CheckConstraint("phase IN ('as-found', 'as-left')", name="phase_is_known"),
        sa.CheckConstraint("CAST(coverage_factor AS REAL) > 0", name="coverage_factor_above_0"),
        sa.CheckConstraint("CAST(expanded_uncertainty AS REAL) > 0", name="expanded_uncertainty_above_0"),
        sa.CheckConstraint("CAST(observations AS REAL) > 0", name="observations_above_0"),
        sa.CheckConstraint("CAST(repeatability AS REAL) >= 0", name="repeatability_not_negative"),
        sa.ForeignKeyConstraint(
            ["calibration_id"],
            ["calibration.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_comparison_calibration_id"), "comparison", ["calibration_id"], unique=False)
    op.create_table(
        "correction_curve",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("calibration_id", sa.Integer(), nullable=False),
        sa.Column("shape", sa.String(), nullable=False),
        sa.Column("degree", sa.Integer(), nullable=True),
        sa.Column("phase", sa.String(), nullable=False),
        sa.Column("low", sa.Float(), nullable=False),
        sa.Column("high", sa.Float(), nullable=False),
        sa.Column("measuring_interval", sa.String(), nullable=False),
        sa.Column("parameters", sa.String(), nullable=False),
        sa.Column("chosen_by", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.CheckConstraint("phase IN ('as-found', 'as-left')", name="phase_is_known"),
        sa.CheckConstraint("shape IN ('polynomial', 'proportional', 'king', 'power')", name="shape_is_known"),
        sa.CheckConstraint("length(chosen_by) > 0", name="chosen_by_not_blank"),
        sa.CheckConstraint("length(reason) > 0", name="reason_not_blank"),
        sa.ForeignKeyConstraint(
            ["calibration_id"],
            ["calibration.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_correction_curve_calibration_id"), "correction_curve", ["calibration_id"], unique=False)
    op.create_table(
        "reading",
        sa.Column("outlet_id", sa.Integer(), nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=False),
        sa.Column("method_id", sa.Integer(), nullable=False),
        sa.Column("observed_at", sa.String(), nullable=False),
        sa.Column("indication", sa.String(), nullable=True),
        sa.Column("unit", sa.String(), nullable=False),
        sa.Column("observations", sa.String(), nullable=True),
        sa.Column("operator", sa.String(), nullable=False),
        sa.Column("remarks", sa.String(), nullable=True),
        sa.Column("averaging_s", sa.String(), nullable=True),
        sa.Column("logged_series_id", sa.Integer(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.CheckConstraint("observed_at LIKE '____-__-__T__:__%'", name="observed_at_is_a_time"),
        sa.CheckConstraint("length(operator) > 0", name="operator_not_blank"),
        sa.ForeignKeyConstraint(
            ["instrument_id"],
            ["instrument.id"],
        ),
        sa.ForeignKeyConstraint(
            ["logged_series_id"],
            ["logged_series.id"],
        ),
        sa.ForeignKeyConstraint(
            ["method_id"],
            ["method.id"],
        ),
        sa.ForeignKeyConstraint(
            ["outlet_id"],
            ["outlet.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("outlet_id", "instrument_id", "observed_at"),
    )
    op.create_index(op.f("ix_reading_instrument_id"), "reading", ["instrument_id"], unique=False)
    op.create_index(op.f("ix_reading_outlet_id"), "reading", ["outlet_id"], unique=False)
    op.create_table(
        "reference_standard",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("calibration_id", sa.Integer(), nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["calibration_id"],
            ["calibration.id"],
        ),
        sa.ForeignKeyConstraint(
            ["instrument_id"],
            ["instrument.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("calibration_id", "instrument_id"),
    )
    op.create_index(
        op.f("ix_reference_standard_calibration_id"), "reference_standard", ["calibration_id"], unique=False
    )
    op.create_table(
        "refusal",
        sa.Column("outlet_id", sa.Integer(), nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=False),
        sa.Column("method_id", sa.Integer(), nullable=False),
        sa.Column("observed_at", sa.String(), nullable=False),
        sa.Column("indication", sa.String(), nullable=True),
        sa.Column("unit", sa.String(), nullable=False),
        sa.Column("observations", sa.String(), nullable=True),
        sa.Column("operator", sa.String(), nullable=False),
        sa.Column("remarks", sa.String(), nullable=True),
        sa.Column("averaging_s", sa.String(), nullable=True),
        sa.Column("logged_series_id", sa.Integer(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("reasons", sa.String(), nullable=False),
        sa.CheckConstraint("observed_at LIKE '____-__-__T__:__%'", name="observed_at_is_a_time"),
        sa.CheckConstraint("length(operator) > 0", name="operator_not_blank"),
        sa.CheckConstraint("length(reasons) > 0", name="reasons_not_blank"),
        sa.ForeignKeyConstraint(
            ["instrument_id"],
            ["instrument.id"],
        ),
        sa.ForeignKeyConstraint(
            ["logged_series_id"],
            ["logged_series.id"],
        ),
        sa.ForeignKeyConstraint(
            ["method_id"],
            ["method.id"],
        ),
        sa.ForeignKeyConstraint(
            ["outlet_id"],
            ["outlet.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("outlet_id", "instrument_id", "observed_at"),
    )
    op.create_index(op.f("ix_refusal_instrument_id"), "refusal", ["instrument_id"], unique=False)
    op.create_index(op.f("ix_refusal_outlet_id"), "refusal", ["outlet_id"], unique=False)

    if on_postgresql.is_here():
        on_postgresql.make_guard_function()
    for table in GUARDED:
        _guard(table)


def _guard(table: str) -> None:
    if on_postgresql.is_here():
        on_postgresql.guard(table)
        return
    for verb in ("update", "delete"):
        op.execute(
            f"CREATE TRIGGER {table}_no_{verb} BEFORE {verb.upper()} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{table}: evidence is never changed; a correction is a new record'); END"
        )
