"""Everything that later versions fill: amendments, retractions, shared errors, reviews of any cause, signatures, anchors.

Revision 0004. No new column has a value in an old row: a default would change its digest. What others refer to is amended by a
whole revision row; what nothing hangs on is replaced and retracted, so that its key has the revision in it.
"""

import sqlalchemy as sa
from alembic import op
from sqlalchemy.schema import SchemaItem

from calib.records.migrations import on_postgresql

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

_Definition = tuple[SchemaItem, ...]


def _text(*names: str) -> tuple[SchemaItem, ...]:
    return tuple(sa.Column(name, sa.String(), nullable=False) for name in names)


def _maybe(*names: str) -> tuple[SchemaItem, ...]:
    return tuple(sa.Column(name, sa.String(), nullable=True) for name in names)


def _whole(name: str, *, nullable: bool = False) -> SchemaItem:
    return sa.Column(name, sa.Integer(), nullable=nullable)


def _refers(name: str, table: str, *, nullable: bool = False, index: bool = False) -> SchemaItem:
    return sa.Column(name, sa.Integer(), sa.ForeignKey(f"{table}.id"), nullable=nullable, info={"index": index})


def _checks(names: tuple[str, ...], condition: str, named: str) -> tuple[sa.CheckConstraint, ...]:
    return tuple(sa.CheckConstraint(condition.format(name), name=f"{name}_{named}") for name in names)


def _not_blank(*names: str) -> tuple[sa.CheckConstraint, ...]:
    return _checks(names, "length({}) > 0", "not_blank")


def _above_0(*names: str) -> tuple[sa.CheckConstraint, ...]:
    return _checks(names, "CAST({} AS REAL) > 0", "above_0")


def _not_negative(*names: str) -> tuple[sa.CheckConstraint, ...]:
    return _checks(names, "CAST({} AS REAL) >= 0", "not_negative")


def _day(*names: str) -> tuple[sa.CheckConstraint, ...]:
    return _checks(names, "{} LIKE '____-__-__'", "is_a_day")


def _time(*names: str) -> tuple[sa.CheckConstraint, ...]:
    return _checks(names, "{} LIKE '____-__-__T__:__%'", "is_a_time")


def _known(name: str, words: str) -> SchemaItem:
    return sa.CheckConstraint(f"{name} IN ({words})", name=f"{name}_is_known")


def _revised() -> SchemaItem:
    return sa.CheckConstraint("revision > 1", name="revision_above_1")


def _one_style() -> sa.CheckConstraint:
    equal = "tolerance_percent IS NOT NULL"
    sides = "(tolerance_minus_percent IS NOT NULL OR tolerance_plus_percent IS NOT NULL)"
    flows = "(minimum_flow IS NOT NULL OR maximum_flow IS NOT NULL)"
    return sa.CheckConstraint(
        f"NOT ({equal} AND {sides}) AND NOT ({equal} AND {flows}) AND NOT ({sides} AND {flows})",
        name="one_style_of_tolerance",
    )


def _single_figure_or_both() -> SchemaItem:
    single, common, own = (f"{name}_standard_uncertainty_percent IS {{}}NULL" for name in ("relative", "common", "own"))
    given, absent = "NOT ", ""
    return sa.CheckConstraint(
        f"({single.format(given)} AND {common.format(absent)} AND {own.format(absent)}) OR "
        f"({single.format(absent)} AND {common.format(given)} AND {own.format(given)})",
        name="single_figure_or_both",
    )


def _belongs_to_one_record() -> SchemaItem:
    records = ("instrument", "calibration", "reading", "outlet", "job", "competence")
    count = " + ".join(f"(CASE WHEN {record}_id IS NULL THEN 0 ELSE 1 END)" for record in records)
    return sa.CheckConstraint(f"{count} = 1", name="belongs_to_one_record")


def _as_observed() -> _Definition:
    """What is typed of a reading, whether it was accepted or refused."""
    return (
        _refers("outlet_id", "outlet", index=True),
        _refers("instrument_id", "instrument", index=True),
        _refers("method_id", "method"),
        *_text("observed_at"),
        *_maybe("indication"),
        *_text("unit"),
        *_maybe("observations"),
        *_text("operator"),
        *_maybe("remarks", "averaging_s"),
        _refers("logged_series_id", "logged_series", nullable=True),
        _refers("probe_id", "instrument", nullable=True),
        *_maybe("conditions", "throttled_observations"),
        _refers("traverse_id", "traverse", nullable=True),
        _whole("revision", nullable=True),
        *_maybe("stage"),
    )


def _of_observed(table: str) -> _Definition:
    key = ("outlet_id", "instrument_id", "observed_at", sa.text("COALESCE(revision, 1)"))
    stages = "'before adjustment', 'after adjustment', 'repeat'"
    return (*_time("observed_at"), _revised(), _known("stage", stages), sa.Index(f"{table}_key", *key, unique=True))


def _replaced() -> dict[str, _Definition]:
    """Tables of which a key, a CHECK or a NOT NULL changes: the whole of each."""
    return {
        "method": (
            *_text("method"),
            *_maybe("relative_standard_uncertainty_percent"),
            *_text("basis"),
            *_maybe(
                "pattern",
                "degrees_of_freedom",
                "common_standard_uncertainty_percent",
                "common_degrees_of_freedom",
                "own_standard_uncertainty_percent",
                "own_degrees_of_freedom",
                "share_below_interval_percent",
            ),
            *_not_blank("basis", "method"),
            *_above_0("common_degrees_of_freedom", "degrees_of_freedom", "own_degrees_of_freedom"),
            *_not_negative(
                "common_standard_uncertainty_percent",
                "own_standard_uncertainty_percent",
                "relative_standard_uncertainty_percent",
                "share_below_interval_percent",
            ),
            _known("pattern", "'spot grid', 'sweep', 'centre', 'traverse', 'hood'"),
            _single_figure_or_both(),
            sa.UniqueConstraint("method"),
        ),
        "system_design": (
            _refers("job_id", "job", index=True),
            *_text("system", "service", "design_flow", "flow_unit"),
            *_maybe("tolerance_percent"),
            _whole("revision", nullable=True),
            *_maybe("tolerance_minus_percent", "tolerance_plus_percent", "minimum_flow", "maximum_flow"),
            *_maybe("design_density_kg_per_m3"),
            *_not_blank("system"),
            *_above_0(
                "design_density_kg_per_m3",
                "design_flow",
                "maximum_flow",
                "minimum_flow",
                "tolerance_percent",
            ),
            *_not_negative("tolerance_minus_percent", "tolerance_plus_percent"),
            _one_style(),
            _revised(),
            _known("service", "'supply', 'return', 'exhaust'"),
            sa.Index("system_design_key", "job_id", "system", "service", sa.text("COALESCE(revision, 1)"), unique=True),
        ),
        "room": (
            _refers("job_id", "job", index=True),
            *_text("room", "pressure"),
            _whole("revision", nullable=True),
            *_not_blank("room"),
            _known("pressure", "'positive', 'negative'"),
            _revised(),
            sa.Index("room_key", "job_id", "room", sa.text("COALESCE(revision, 1)"), unique=True),
        ),
        "condition": (
            _refers("job_id", "job", index=True),
            *_text("conditions", "observed_at", "quantity", "value", "unit"),
            _refers("instrument_id", "instrument", nullable=True),
            *_maybe("standard_uncertainty", "source"),
            _whole("revision", nullable=True),
            *_not_blank("conditions"),
            *_not_negative("standard_uncertainty"),
            *_time("observed_at"),
            sa.CheckConstraint(
                "(instrument_id IS NULL) <> (standard_uncertainty IS NULL)", name="instrument_or_stated"
            ),
            _known(
                "quantity",
                "'temperature', 'barometric pressure', 'static pressure', 'relative humidity', 'wet-bulb temperature', 'altitude'",
            ),
            _revised(),
            sa.Index(
                "condition_key", "job_id", "conditions", "quantity", sa.text("COALESCE(revision, 1)"), unique=True
            ),
        ),
        "reading": (*_as_observed(), *_not_blank("operator"), *_of_observed("reading")),
        "refusal": (
            *_as_observed(),
            *_text("reasons"),
            *_not_blank("operator", "reasons"),
            *_of_observed("refusal"),
        ),
        "event": (
            _refers("instrument_id", "instrument", index=True),
            *_text("kind", "at", "reason"),
            *_maybe("value"),
            *_not_blank("reason"),
            *_time("at"),
            _known(
                "kind",
                "'suspension', 'release', 'damage', 'repair', 'adjustment', 'move', 'return', 'retirement', 'interval change'",
            ),
        ),
        "attached": (
            _refers("attachment_id", "attachment", index=True),
            _refers("instrument_id", "instrument", nullable=True, index=True),
            _refers("calibration_id", "calibration", nullable=True, index=True),
            *_maybe("remarks"),
            _refers("reading_id", "reading", nullable=True, index=True),
            _refers("outlet_id", "outlet", nullable=True, index=True),
            _refers("job_id", "job", nullable=True, index=True),
            _refers("competence_id", "competence", nullable=True, index=True),
            _belongs_to_one_record(),
        ),
        "house_rule": (
            *_text("rule", "holds", "reason"),
            *_maybe("value"),
            *_not_blank("reason", "value"),
            _known("holds", "'yes', 'no'"),
            _known("rule", "'one person may accept', 'open review closes the gate', 'retention in years'"),
        ),
        "impact_review": (
            _refers("calibration_id", "calibration", nullable=True, index=True),
            *_text("criterion", "assessment"),
            *_maybe("cause", "cause_table"),
            _whole("cause_id", nullable=True),
            _refers("instrument_id", "instrument", nullable=True, index=True),
            *_not_blank("criterion"),
            sa.CheckConstraint("calibration_id IS NOT NULL OR cause_id IS NOT NULL", name="calibration_or_cause"),
            sa.CheckConstraint("(cause_table IS NULL) = (cause_id IS NULL)", name="cause_is_a_record"),
            _known(
                "cause",
                "'as found', 'check', 'withdrawal', 'supersession', 'reference standard', 'factor', 'damage', 'recorded later'",
            ),
            sa.Index(
                "impact_review_key",
                sa.text("COALESCE(cause, 'as found')"),
                sa.text("COALESCE(cause_table, 'calibration')"),
                sa.text("COALESCE(cause_id, calibration_id)"),
                unique=True,
            ),
        ),
        "disposition": (
            _refers("impact_line_id", "impact_line", index=True),
            *_text("decision", "reason"),
            *_not_blank("reason"),
            _known("decision", "'stands', 'reissue', 'measure again', 'withdraw', 'immaterial'"),
        ),
        "issued_form": (
            _refers("issued_report_id", "issued_report", index=True),
            *_text("form", "name", "sha256"),
            sa.Column("content", sa.LargeBinary(), nullable=True),
            *_maybe("encoding"),
            *_not_blank("form", "name", "sha256"),
            sa.CheckConstraint(
                "content IS NOT NULL OR COALESCE(encoding, '') = 'derived'", name="content_unless_derived"
            ),
            _known("encoding", "'zlib', 'derived'"),
            sa.UniqueConstraint("issued_report_id", "form"),
            sa.Index("ix_issued_form_sha256", "sha256"),
        ),
    }


def _new() -> dict[str, _Definition]:
    return {
        "anchor": (
            *_text("records"),
            _whole("sequence"),
            *_text("digest", "time", "reason"),
            *_not_blank("digest", "reason", "records"),
            *_above_0("sequence"),
            *_time("time"),
        ),
        "attempt": (
            *_text("act", "record_table"),
            _whole("record_id"),
            *_text("asked", "findings"),
            *_not_blank("act"),
        ),
        "backup": (
            *_text("name"),
            _whole("entries"),
            *_text("digest"),
            *_not_blank("digest", "name"),
            *_not_negative("entries"),
        ),
        "clock_step": (
            *_text("reason"),
            *_not_blank("reason"),
        ),
        "laboratory_certificate": (
            *_text("laboratory", "sha256"),
            sa.Column("content", sa.LargeBinary(), nullable=False),
            *_text("kind", "at", "reason"),
            *_not_blank("laboratory", "reason", "sha256"),
            *_time("at"),
            _known("kind", "'trusted', 'no longer trusted'"),
            sa.UniqueConstraint("sha256", "kind", "at"),
        ),
        "ledger_break": (
            _whole("sequence"),
            *_text("digest", "reason"),
            *_not_blank("digest", "reason"),
            *_above_0("sequence"),
        ),
        "retraction": (
            *_text("record_table"),
            _whole("record_id"),
            _whole("replaced_by_id", nullable=True),
            *_text("reason"),
            *_not_blank("reason"),
            _known(
                "record_table",
                "'reading', 'refusal', 'condition', 'intermediate_check', 'event', 'pairing', "
                "'attached', 'system_design', 'room', 'competence'",
            ),
            sa.UniqueConstraint("record_table", "record_id"),
        ),
        "sent_entry": (
            *_text("client_key", "record_table"),
            _whole("record_id"),
            *_text("sent_at", "clock_offset_s", "device"),
            *_not_blank("client_key", "device"),
            *_time("sent_at"),
            sa.UniqueConstraint("client_key"),
        ),
        "source": (
            *_text("source", "document"),
            *_maybe("edition"),
            *_text("basis"),
            *_not_blank("basis", "document", "source"),
            sa.Index("source_key", "source", sa.text("COALESCE(edition, '')"), unique=True),
        ),
        "validation": (
            *_text("at", "version", "platform", "result"),
            _whole("checks"),
            sa.Column("content", sa.LargeBinary(), nullable=False),
            *_text("sha256"),
            *_not_blank("platform", "sha256", "version"),
            *_above_0("checks"),
            *_time("at"),
            _known("result", "'passed', 'failed'"),
        ),
        "company": (
            *_text("name", "address"),
            *_maybe("contact", "base_address"),
            _refers("mark_attachment_id", "attachment", nullable=True),
            *_not_blank("address", "name"),
        ),
        "competence": (
            _refers("person_id", "person", index=True),
            *_text("scope", "from_on"),
            *_maybe("until_on"),
            *_text("authorised_by"),
            *_not_blank("authorised_by", "scope"),
            *_day("from_on", "until_on"),
        ),
        "declared_air": (
            _refers("job_id", "job", index=True),
            *_text("service", "temperature_low_degC", "temperature_high_degC", "basis"),
            *_not_blank("basis"),
            _known("service", "'supply', 'return', 'exhaust'"),
            sa.CheckConstraint(
                "CAST(temperature_low_degC AS REAL) < CAST(temperature_high_degC AS REAL)", name="temperature_rises"
            ),
        ),
        "instrument_revision": (
            *_text("kind", "maker", "model", "serial", "quantity", "range_low", "range_high", "unit", "resolution"),
            *_maybe("mpe_percent", "mpe_absolute"),
            _whole("interval_months"),
            *_maybe(
                "location",
                "repeatability",
                "stability_percent",
                "stability_absolute",
                "stability_basis",
                "custodian",
                "firmware",
            ),
            _whole("check_interval_days", nullable=True),
            *_maybe(
                "indication_quantity",
                "density_effect",
                "reference_temperature_degC",
                "reference_pressure_kPa",
                "resistance_ratio",
                "resistance_ratio_standard_uncertainty",
                "criterion",
                "decision_rule",
                "judged",
            ),
            _refers("instrument_id", "instrument", index=True),
            _whole("revision"),
            *_maybe("holds_from"),
            *_text("reason"),
            *_not_blank("reason"),
            *_above_0("interval_months", "reference_pressure_kPa", "resolution"),
            *_not_negative(
                "mpe_absolute",
                "mpe_percent",
                "repeatability",
                "resistance_ratio_standard_uncertainty",
                "stability_absolute",
                "stability_percent",
            ),
            *_time("holds_from"),
            _known("decision_rule", "'simple', 'guarded', 'guarded non-binary'"),
            _known("density_effect", "'thermal', 'vane friction', 'velocity pressure'"),
            _known("judged", "'indication', 'corrected value'"),
            sa.CheckConstraint("CAST(range_low AS REAL) < CAST(range_high AS REAL)", name="range_rises"),
            sa.CheckConstraint("CAST(resistance_ratio AS REAL) > 1", name="resistance_ratio_above_1"),
            _revised(),
            sa.UniqueConstraint("instrument_id", "revision"),
        ),
        "job_revision": (
            *_maybe("title", "site", "client"),
            *_text("decision_rule"),
            *_maybe("density_kg_per_m3", "agreed_by", "agreed_on", "flow_unit"),
            _refers("job_id", "job", index=True),
            _whole("revision"),
            *_text("reason"),
            *_not_blank("reason"),
            *_above_0("density_kg_per_m3"),
            *_day("agreed_on"),
            _known("decision_rule", "'simple', 'guarded', 'guarded non-binary'"),
            _revised(),
            sa.UniqueConstraint("job_id", "revision"),
        ),
        "method_revision": (
            *_maybe("relative_standard_uncertainty_percent"),
            *_text("basis"),
            *_maybe(
                "pattern",
                "degrees_of_freedom",
                "common_standard_uncertainty_percent",
                "common_degrees_of_freedom",
                "own_standard_uncertainty_percent",
                "own_degrees_of_freedom",
                "share_below_interval_percent",
            ),
            _refers("method_id", "method", index=True),
            _whole("revision"),
            *_text("reason"),
            *_not_blank("basis", "reason"),
            *_above_0("common_degrees_of_freedom", "degrees_of_freedom", "own_degrees_of_freedom"),
            *_not_negative(
                "common_standard_uncertainty_percent",
                "own_standard_uncertainty_percent",
                "relative_standard_uncertainty_percent",
                "share_below_interval_percent",
            ),
            _known("pattern", "'spot grid', 'sweep', 'centre', 'traverse', 'hood'"),
            _revised(),
            _single_figure_or_both(),
            sa.UniqueConstraint("method_id", "revision"),
        ),
        "person_login": (
            _refers("person_id", "person", index=True),
            *_maybe("login"),
            *_text("at", "reason"),
            *_not_blank("login", "reason"),
            *_time("at"),
        ),
        "signature_verdict": (
            _refers("attachment_id", "attachment", index=True),
            *_text("verdict"),
            *_maybe("signer"),
            _refers("laboratory_certificate_id", "laboratory_certificate", nullable=True),
            _known("verdict", "'verified', 'signed and not verified', 'unsigned'"),
        ),
        "source_spelling": (
            *_text("spelling"),
            _refers("source_id", "source", index=True),
            *_text("reason"),
            *_not_blank("reason", "spelling"),
            sa.UniqueConstraint("spelling"),
        ),
        "comparison_correlation": (
            _refers("calibration_id", "calibration", index=True),
            *_text("phase"),
            _whole("point"),
            _whole("other_point"),
            *_text("correlation"),
            sa.CheckConstraint(
                "CAST(correlation AS REAL) >= -1 AND CAST(correlation AS REAL) <= 1",
                name="correlation_from_minus_1_to_1",
            ),
            _known("phase", "'as-found', 'as-left'"),
            sa.CheckConstraint("point > 0 AND other_point > point", name="points_in_order"),
            sa.UniqueConstraint("calibration_id", "phase", "point", "other_point"),
        ),
        "supersession": (
            _refers("old_calibration_id", "calibration"),
            _refers("calibration_id", "calibration", index=True),
            *_text("reason", "same_values"),
            *_not_blank("reason"),
            _known("same_values", "'yes', 'no'"),
            sa.CheckConstraint("old_calibration_id <> calibration_id", name="two_certificates"),
            sa.UniqueConstraint("old_calibration_id"),
        ),
        "review_decision": (
            _refers("impact_review_id", "impact_review", index=True),
            *_text("curve"),
            *_maybe("from_at"),
            *_text("reason"),
            *_not_blank("reason"),
            *_time("from_at"),
            _known("curve", "'as before', 'as found', 'as found from', 'widened'"),
            sa.CheckConstraint("(curve = 'as found from') = (from_at IS NOT NULL)", name="from_a_time_on"),
        ),
    }


def upgrade() -> None:
    _columns()
    for table, definition in _new().items():
        _create(table, definition)
        _index(table, definition)
        _guard(table)
    for table, definition in _replaced().items():
        if on_postgresql.is_here():
            _change_in_place(table, definition)
        else:
            _replace(table, definition)
    _add_reference("issued_report", "validation_id", "validation")
    if on_postgresql.is_here():
        _widen_keys()
        on_postgresql.guard_ledger()


def _columns() -> None:
    """Columns of tables that stay as they are otherwise."""
    for table in ("outlet", "outlet_revision"):
        for name in ("tolerance_minus_percent", "tolerance_plus_percent"):
            _add(table, name, *_not_negative(name))
        for name in ("design_density_kg_per_m3", "minimum_flow"):
            _add(table, name, *_above_0(name))
        # In words, since two CHECKs of one column come in no order of their own.
        checks = " ".join(
            f"CONSTRAINT {check.name} CHECK ({check.sqltext})" for check in (*_above_0("maximum_flow"), _one_style())
        )
        op.execute(f"ALTER TABLE {table} ADD COLUMN maximum_flow VARCHAR {checks}")
    _add("instrument", "criterion")
    _add("instrument", "decision_rule", _known("decision_rule", "'simple', 'guarded', 'guarded non-binary'"))
    _add("instrument", "judged", _known("judged", "'indication', 'corrected value'"))
    probability = "CAST(coverage_probability_percent AS REAL)"
    _add(
        "comparison",
        "coverage_probability_percent",
        sa.CheckConstraint(f"{probability} > 50 AND {probability} < 100", name="coverage_probability_percent_is_one"),
    )
    edition = sa.CheckConstraint("CAST(rule_edition AS REAL) > 0", name="rule_edition_above_0")
    op.add_column("correction_curve", sa.Column("rule_edition", sa.Integer(), edition, nullable=True))
    _add("acceptance", "reason", *_not_blank("reason"))
    _add("acceptance", "departure_reason", *_not_blank("departure_reason"))
    _add_reference("acceptance", "carried_from_id", "acceptance")
    _add("job", "density_kg_per_m3", *_above_0("density_kg_per_m3"))
    _add("job", "agreed_by")
    _add("job", "agreed_on", *_day("agreed_on"))
    _add("job", "flow_unit")
    for name in ("gaps_reason", "signed_by", "signature"):
        _add("issued_report", name)
    _add("ledger", "version")


def _add(table: str, name: str, *checks: SchemaItem) -> None:
    op.add_column(table, sa.Column(name, sa.String(), *checks, nullable=True))


def _add_reference(table: str, name: str, other: str) -> None:
    # Alembic adds a foreign key with its column on SQLite in no other way.
    op.execute(f"ALTER TABLE {table} ADD COLUMN {name} INTEGER REFERENCES {other} (id)")


def _create(table: str, definition: _Definition) -> None:
    columns = [item for item in definition if not isinstance(item, sa.Index)]
    op.create_table(table, sa.Column("id", sa.Integer(), nullable=False), *columns, sa.PrimaryKeyConstraint("id"))


def _index(table: str, definition: _Definition) -> None:
    for item in definition:
        if isinstance(item, sa.Index):
            op.create_index(str(item.name), table, list(item.expressions), unique=item.unique)
        elif isinstance(item, sa.Column) and item.info.get("index"):
            op.create_index(op.f(f"ix_{table}_{item.name}"), table, [item.name], unique=False)


def _replace(table: str, definition: _Definition) -> None:
    """On SQLite a new table in the place of the old, since it cannot change a CHECK; foreign keys are off meanwhile."""
    columns = ", ".join(str(column["name"]) for column in sa.inspect(op.get_bind()).get_columns(table))
    _create(f"{table}_0004", definition)
    op.execute(f"INSERT INTO {table}_0004 ({columns}) SELECT {columns} FROM {table} ORDER BY id")  # noqa: S608 (own names)
    op.drop_table(table)
    op.rename_table(f"{table}_0004", table)
    _index(table, definition)
    _guard(table)


def _change_in_place(table: str, definition: _Definition) -> None:
    """On a server: the columns that are new, and keys and CHECKs anew."""
    present = sa.inspect(op.get_bind())
    before = {str(column["name"]) for column in present.get_columns(table)}
    indexed = {index["name"] for index in present.get_indexes(table)}
    for check in present.get_check_constraints(table):
        op.drop_constraint(str(check["name"]), table, type_="check")
    # A unique index takes the place of the key that was there.
    if any(isinstance(item, sa.Index) and item.unique for item in definition):
        for key in present.get_unique_constraints(table):
            op.drop_constraint(str(key["name"]), table, type_="unique")
    for item in definition:
        if isinstance(item, sa.Column) and item.name not in before:
            op.add_column(table, item)
        elif isinstance(item, sa.Column):
            op.alter_column(table, item.name, nullable=item.nullable)
        elif isinstance(item, sa.CheckConstraint):
            op.create_check_constraint(str(item.name), table, item.sqltext)
    named = {item: getattr(item, "name", None) for item in definition}
    _index(table, tuple(item for item in definition if not indexed & {named[item], f"ix_{table}_{named[item]}"}))


def _widen_keys() -> None:
    """Keys of eight bytes, as SQLite has them."""
    present = sa.inspect(op.get_bind())
    for table in present.get_table_names():
        for column in present.get_columns(table):
            name = str(column["name"])
            if isinstance(column["type"], sa.Integer) and (name in ("id", "sequence") or name.endswith("_id")):
                op.execute(f"ALTER TABLE {table} ALTER COLUMN {name} TYPE BIGINT")
                if name in present.get_pk_constraint(table)["constrained_columns"]:
                    op.execute(f"ALTER SEQUENCE {table}_{name}_seq AS BIGINT")


def _guard(table: str) -> None:
    if on_postgresql.is_here():
        on_postgresql.guard(table)
        return
    for verb in ("update", "delete"):
        op.execute(
            f"CREATE TRIGGER {table}_no_{verb} BEFORE {verb.upper()} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{table}: evidence is never changed; a correction is a new record'); END"
        )
