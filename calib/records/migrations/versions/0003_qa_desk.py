"""The QA desk: files of certificates, pairs of probe and meter, people and roles, impact reviews, issued reports.

And withdrawals of calibrations that were recorded wrongly. Revision 0003.
"""

import sqlalchemy as sa
from alembic import op

from calib.records.migrations import on_postgresql

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

NEW = (
    "attachment",
    "attached",
    "withdrawal",
    "pairing",
    "person",
    "role",
    "house_rule",
    "impact_review",
    "impact_line",
    "disposition",
    "issued_report",
    "issued_form",
)


def upgrade() -> None:
    _columns()
    _attachment()
    _attached()
    _withdrawal()
    _pairing()
    _person()
    _role()
    _house_rule()
    _impact_review()
    _impact_line()
    _disposition()
    _issued_report()
    _issued_form()
    for table in NEW:
        _guard(table)


def _columns() -> None:
    for column in ("received_on", "issued_on"):
        op.add_column("calibration", _checked(column, f"{column} LIKE '____-__-__'", f"{column}_is_a_day"))
    op.add_column("calibration", _checked("adjustment", "adjustment IN ('yes', 'no')", "adjustment_is_known"))
    for column in ("procedure", "traceability"):
        op.add_column("calibration", sa.Column(column, sa.String(), nullable=True))
    for column in ("decision_rule", "assessment"):
        op.add_column("acceptance", sa.Column(column, sa.String(), nullable=True))
    for column in ("standard_indication", "basis"):
        op.add_column("comparison", sa.Column(column, sa.String(), nullable=True))
    op.add_column("event", sa.Column("value", sa.String(), nullable=True))
    # Alembic adds a foreign key with its column on SQLite in no other way.
    op.execute("ALTER TABLE intermediate_check ADD COLUMN other_instrument_id INTEGER REFERENCES instrument (id)")
    op.add_column("intermediate_check", sa.Column("basis", sa.String(), nullable=True))


def _checked(column: str, condition: str, name: str) -> sa.Column[str]:
    return sa.Column(column, sa.String(), sa.CheckConstraint(condition, name=name), nullable=True)


def _attachment() -> None:
    op.create_table(
        "attachment",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("media_type", sa.String(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.CheckConstraint(
            "media_type IN ('application/pdf', 'image/png', 'image/jpeg', 'application/xml')",
            name="media_type_is_known",
        ),
        sa.CheckConstraint("length(name) > 0", name="name_not_blank"),
        sa.CheckConstraint("length(sha256) > 0", name="sha256_not_blank"),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("sha256"),
    )


def _attached() -> None:
    op.create_table(
        "attached",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("attachment_id", sa.Integer(), nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=True),
        sa.Column("calibration_id", sa.Integer(), nullable=True),
        sa.Column("remarks", sa.String(), nullable=True),
        sa.CheckConstraint("(instrument_id IS NULL) <> (calibration_id IS NULL)", name="instrument_or_calibration"),
        sa.ForeignKeyConstraint(["attachment_id"], ["attachment.id"]),
        sa.ForeignKeyConstraint(["instrument_id"], ["instrument.id"]),
        sa.ForeignKeyConstraint(["calibration_id"], ["calibration.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_attached_attachment_id"), "attached", ["attachment_id"], unique=False)
    op.create_index(op.f("ix_attached_calibration_id"), "attached", ["calibration_id"], unique=False)
    op.create_index(op.f("ix_attached_instrument_id"), "attached", ["instrument_id"], unique=False)


def _withdrawal() -> None:
    op.create_table(
        "withdrawal",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("calibration_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.CheckConstraint("length(reason) > 0", name="reason_not_blank"),
        sa.ForeignKeyConstraint(["calibration_id"], ["calibration.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("calibration_id"),
    )


def _pairing() -> None:
    op.create_table(
        "pairing",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("probe_id", sa.Integer(), nullable=False),
        sa.Column("meter_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.CheckConstraint("at LIKE '____-__-__T__:__%'", name="at_is_a_time"),
        sa.CheckConstraint("kind IN ('paired', 'parted')", name="kind_is_known"),
        sa.CheckConstraint("length(reason) > 0", name="reason_not_blank"),
        sa.CheckConstraint("probe_id <> meter_id", name="two_instruments"),
        sa.ForeignKeyConstraint(["probe_id"], ["instrument.id"]),
        sa.ForeignKeyConstraint(["meter_id"], ["instrument.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_pairing_meter_id"), "pairing", ["meter_id"], unique=False)
    op.create_index(op.f("ix_pairing_probe_id"), "pairing", ["probe_id"], unique=False)


def _person() -> None:
    op.create_table(
        "person",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("login", sa.String(), nullable=True),
        sa.CheckConstraint("length(name) > 0", name="name_not_blank"),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("name"),
        sa.UniqueConstraint("login"),
    )


def _role() -> None:
    op.create_table(
        "role",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("role", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.CheckConstraint("at LIKE '____-__-__T__:__%'", name="at_is_a_time"),
        sa.CheckConstraint("kind IN ('given', 'withdrawn')", name="kind_is_known"),
        sa.CheckConstraint("length(reason) > 0", name="reason_not_blank"),
        sa.CheckConstraint("role IN ('technician', 'QA', 'engineer')", name="role_is_known"),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_role_person_id"), "role", ["person_id"], unique=False)


def _house_rule() -> None:
    op.create_table(
        "house_rule",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("rule", sa.String(), nullable=False),
        sa.Column("holds", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.CheckConstraint("holds IN ('yes', 'no')", name="holds_is_known"),
        sa.CheckConstraint("length(reason) > 0", name="reason_not_blank"),
        sa.CheckConstraint("rule IN ('one person may accept')", name="rule_is_known"),
        sa.PrimaryKeyConstraint("id"),
    )


def _impact_review() -> None:
    op.create_table(
        "impact_review",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("calibration_id", sa.Integer(), nullable=False),
        sa.Column("criterion", sa.String(), nullable=False),
        sa.Column("assessment", sa.String(), nullable=False),
        sa.CheckConstraint("length(criterion) > 0", name="criterion_not_blank"),
        sa.ForeignKeyConstraint(["calibration_id"], ["calibration.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("calibration_id"),
    )


def _impact_line() -> None:
    op.create_table(
        "impact_line",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("impact_review_id", sa.Integer(), nullable=False),
        sa.Column("record_table", sa.String(), nullable=False),
        sa.Column("record_id", sa.Integer(), nullable=False),
        sa.Column("finding", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["impact_review_id"], ["impact_review.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("impact_review_id", "record_table", "record_id"),
    )
    op.create_index(op.f("ix_impact_line_impact_review_id"), "impact_line", ["impact_review_id"], unique=False)


def _disposition() -> None:
    op.create_table(
        "disposition",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("impact_line_id", sa.Integer(), nullable=False),
        sa.Column("decision", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.CheckConstraint("decision IN ('stands', 'reissue', 'measure again', 'withdraw')", name="decision_is_known"),
        sa.CheckConstraint("length(reason) > 0", name="reason_not_blank"),
        sa.ForeignKeyConstraint(["impact_line_id"], ["impact_line.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_disposition_impact_line_id"), "disposition", ["impact_line_id"], unique=False)


def _issued_report() -> None:
    op.create_table(
        "issued_report",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("issued_at", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=True),
        sa.Column("ledger_digest", sa.String(), nullable=False),
        sa.CheckConstraint("issued_at LIKE '____-__-__T__:__%'", name="issued_at_is_a_time"),
        sa.CheckConstraint("length(ledger_digest) > 0", name="ledger_digest_not_blank"),
        sa.CheckConstraint("CAST(revision AS REAL) > 0", name="revision_above_0"),
        sa.CheckConstraint("revision = 1 OR length(reason) > 0", name="a_later_revision_says_why"),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("job_id", "revision"),
    )
    op.create_index(op.f("ix_issued_report_job_id"), "issued_report", ["job_id"], unique=False)


def _issued_form() -> None:
    op.create_table(
        "issued_form",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("issued_report_id", sa.Integer(), nullable=False),
        sa.Column("form", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.CheckConstraint("length(form) > 0", name="form_not_blank"),
        sa.CheckConstraint("length(name) > 0", name="name_not_blank"),
        sa.CheckConstraint("length(sha256) > 0", name="sha256_not_blank"),
        sa.ForeignKeyConstraint(["issued_report_id"], ["issued_report.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("issued_report_id", "form"),
    )
    op.create_index(op.f("ix_issued_form_issued_report_id"), "issued_form", ["issued_report_id"], unique=False)
    op.create_index(op.f("ix_issued_form_sha256"), "issued_form", ["sha256"], unique=False)


def _guard(table: str) -> None:
    if on_postgresql.is_here():
        on_postgresql.guard(table)
        return
    for verb in ("update", "delete"):
        op.execute(
            f"CREATE TRIGGER {table}_no_{verb} BEFORE {verb.upper()} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{table}: evidence is never changed; a correction is a new record'); END"
        )
