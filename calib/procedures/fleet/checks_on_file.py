"""Intermediate checks on record: listed, and as control charts."""

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from sqlmodel import Session

from calib.confirmation.control_chart import (
    FEWEST_VALUES,
    Baseline,
    ControlLimits,
    baseline,
    in_trend,
    prediction_limits,
    shewhart_limits,
    t_limits,
    weighted_mean_limits,
    weighted_means,
)
from calib.procedures.fleet.check_values import CheckValue, baseline_values, not_below_resolution, value_in_unit
from calib.procedures.on_record.amended import instrument_of
from calib.procedures.on_record.by_name import instrument_tagged, tags_of
from calib.procedures.on_record.instruments import checks_of, checks_that_count
from calib.procedures.on_record.recorded import recorded_by
from calib.procedures.on_record.taken_back import shown_back, taken_back
from calib.records.record import key, moment, typed
from calib.records.tables.events import IntermediateCheck
from calib.records.tables.instruments import Instrument
from calib.uncertainty.components import Components, components_of


def checks_on_file(session: Session, tag: str | None = None) -> list[dict[str, Any]]:
    """Intermediate checks of one instrument, or of all, with the tag of the other instrument and the basis as it was kept."""
    return _on_file(session, checks_of(session, tag))


def check_on_file(session: Session, check: IntermediateCheck) -> dict[str, Any]:
    """One check in the same form."""
    return _on_file(session, [check])[0]


def _on_file(session: Session, checks: Sequence[IntermediateCheck]) -> list[dict[str, Any]]:
    named = {instrument_id for check in checks for instrument_id in (check.instrument_id, check.other_instrument_id)}
    tags = tags_of(session, {instrument_id for instrument_id in named if instrument_id is not None})
    back = taken_back(session, IntermediateCheck, [key(check.id) for check in checks])
    recorded = recorded_by(session, IntermediateCheck, [key(check.id) for check in checks])
    return [
        {
            "tag": tags[check.instrument_id],
            **typed(check, "instrument_id", "other_instrument_id"),
            "other": tags.get(check.other_instrument_id),
            "basis": None if check.basis is None else json.loads(check.basis),
            **shown_back(back, check.id),
            "recorded_at": recorded[key(check.id)]["recorded_at"],
        }
        for check in checks
    ]


@dataclass(frozen=True)
class ChartedCheck:
    """One check on a control chart."""

    at: datetime
    value: float  # [unit of the chart]
    low: float
    high: float
    passed: bool
    in_baseline: bool = False
    weighted_mean: float | None = None  # of a check standard, from its baseline on
    in_trend: bool = False  # one of seven or more in a row that rise, or that fall


@dataclass(frozen=True)
class ChartedSeries:
    """Checks of one kind, with one other instrument, in the order of their times."""

    kind: str
    other: str | None
    unit: str
    checks: tuple[ChartedCheck, ...]
    base: Baseline | None = None  # of a check standard with enough values
    limits: ControlLimits | None = None  # for the next value
    mean_limits: ControlLimits | None = None  # of the weighted mean
    shewhart_limits: ControlLimits | None = None  # of the values of the baseline, 3 s about their mean
    t_limits: ControlLimits | None = None  # of the same, with Student's t in the place of 3
    components: Components | None = (
        None  # of the baseline between days and within one; absent: no day has two of its values
    )

    @property
    def drifting(self) -> bool:
        """Whether the latest weighted mean is out of control: a small shift that lasts."""
        last = self.checks[-1].weighted_mean if self.checks else None
        return last is not None and self.mean_limits is not None and not self.mean_limits.holds(last)


def charts_of(session: Session, tag: str, kind: str | None = None) -> list[ChartedSeries]:
    """Control charts of an instrument's checks, one for each kind and other instrument; raises NotInRecordsError."""
    instrument = instrument_tagged(session, tag)
    rows = sorted(checks_that_count(session, tag), key=lambda check: (moment(check.at), check.id))
    groups: dict[tuple[str, int | None, bool], list[IntermediateCheck]] = {}
    for check in rows:
        if kind is None or check.kind == kind:
            groups.setdefault((check.kind, check.other_instrument_id, check.unit == "1"), []).append(check)
    return [_series(session, instrument, lot) for lot in groups.values()]


def _series(session: Session, instrument: Instrument, rows: Sequence[IntermediateCheck]) -> ChartedSeries:
    last = rows[-1]
    other = None if last.other_instrument_id is None else instrument_of(session, last.other_instrument_id)
    plain = ChartedSeries(
        last.kind,
        None if other is None else other.tag,
        last.unit,
        _with_trends([_charted(instrument, check, last.unit) for check in rows]),
    )
    return _with_baseline(session, instrument, other, plain) if last.kind == "check standard" else plain


def _charted(instrument: Instrument, check: IntermediateCheck, symbol: str) -> ChartedCheck:
    value, low, high = (
        value_in_unit(instrument, float(each), check.unit, symbol) for each in (check.value, check.low, check.high)
    )
    return ChartedCheck(moment(check.at), value, low, high, check.result == "passed")


def _with_trends(checks: Sequence[ChartedCheck]) -> tuple[ChartedCheck, ...]:
    among = in_trend([check.value for check in checks])
    return tuple(replace(check, in_trend=bool(is_among)) for check, is_among in zip(checks, among, strict=True))


def _with_baseline(
    session: Session, instrument: Instrument, other: Instrument | None, plain: ChartedSeries
) -> ChartedSeries:
    """The weighted mean runs over the values after the baseline, those that failed among them."""
    values = baseline_values(session, instrument, other, plain.unit)
    if len(values) < FEWEST_VALUES:
        return plain
    base = not_below_resolution(baseline([value.value for value in values]), instrument, plain.unit)
    first, last = values[0].at, values[-1].at
    later = [check for check in plain.checks if check.at > last]
    means = iter(weighted_means([check.value for check in later], base).tolist())
    checks = tuple(
        replace(
            check,
            in_baseline=check.passed and first <= check.at <= last,
            weighted_mean=next(means) if check.at > last else None,
        )
        for check in plain.checks
    )
    return replace(
        plain,
        checks=checks,
        base=base,
        limits=prediction_limits(base),
        shewhart_limits=shewhart_limits(base),
        t_limits=t_limits(base),
        components=_components(values),
        mean_limits=weighted_mean_limits(base),
    )


def _components(values: Sequence[CheckValue]) -> Components | None:
    days = [value.at.date() for value in values]
    return components_of([value.value for value in values], days) if 1 < len(set(days)) < len(days) else None
