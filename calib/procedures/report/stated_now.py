"""What a report states, as a reader sees it: from a report as it was issued, and from the records as they are now."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from calib.procedures.measure.evaluate import Evaluation
from calib.procedures.measure.results import Judgement, Results
from calib.procedures.measure.totals import Totals
from calib.procedures.on_record.flow_unit import common_flow_unit, flow_unit
from calib.quantities import Unit, unit
from calib.records.record import key, moment
from calib.uncertainty.coverage import COVERAGE_PROBABILITY
from calib.uncertainty.statement import round_result

Stated = dict[str, str]
_REFUSED = "refused"


@dataclass(frozen=True)
class IssuedStatements:
    """What an issued report states, and in which units."""

    stated: Stated
    of_totals: Stated
    units: Mapping[str, str]
    coverage_probability: float


def stated_in(document: Mapping[str, Any]) -> IssuedStatements:
    """What an issued report states, from its JSON."""
    named = {_reading(each["reading"], each["outlet"]): each for each in document["readings"]}
    totals = {
        _total(each.get("system"), each["service"]): each
        for each in (*document["totals"], *document["job_totals"])
        if each["flow"] is not None
    }
    refusals = {
        _refusal(each["outlet"], each["instrument"], each["observed_at"]): _REFUSED for each in document["refusals"]
    }
    every = [each["flow"] for each in (*named.values(), *totals.values())]
    return IssuedStatements(
        {what: _said_in(each) for what, each in named.items()} | refusals,
        {what: _said_in(each) for what, each in totals.items()},
        {what: each["flow"]["unit"] for what, each in (*named.items(), *totals.items())},
        every[0]["coverage_probability"] if every else COVERAGE_PROBABILITY,
    )


def _said_in(stated: Mapping[str, Any]) -> str:
    flow, design = stated["flow"], stated["design"] or {}
    rounded = round_result(flow["value"], flow["expanded_uncertainty"])
    return _said(f"({rounded}) {flow['unit']}", design.get("conformity"))


def _said(flow: str, conformity: str | None) -> str:
    return f"{flow}, {conformity}" if conformity else flow


def stated_now(evaluation: Evaluation, issued_at: datetime, units: Mapping[str, str]) -> tuple[Stated, Stated | None]:
    """The same from an evaluation, of what was observed before the issue; None for the totals where more was observed since."""
    stated: Stated = {}
    any_new = False
    for row, standing in enumerate(evaluation.measured):
        assert evaluation.flow is not None  # noqa: S101 (what is measured has a flow)
        what = _reading(key(standing.reading.id), standing.outlet.outlet)
        if _is_new(standing.at, issued_at, what in units):
            any_new = True
        else:
            flow = _flow(evaluation.flow, row, _unit(units, what, flow_unit(standing.outlet)))
            stated[what] = _said(flow, _conformity(evaluation.judgement, row))
    for refused in evaluation.refused:
        outlet = refused.outlet.outlet
        what = _reading(key(refused.typed.id), outlet)
        if not _is_new(moment(refused.typed.observed_at), issued_at, what in units):
            if refused.stood and what in units:  # it had a flow then
                stated[what] = f"{_REFUSED}: {'; '.join(refused.reasons)}"
            else:
                stated[_refusal(outlet, refused.instrument.tag, refused.typed.observed_at)] = _REFUSED
    if any_new:
        return stated, None
    every = (evaluation.of_systems, evaluation.of_job)
    return stated, {what: said for totals in every for what, said in _totals(evaluation, totals, units)}


def _is_new(at: datetime, issued_at: datetime, is_stated: bool) -> bool:
    """Whether something was observed after an issue; in its very second, whether the report does not state it."""
    return at > issued_at or (at == issued_at and not is_stated)


def _unit(units: Mapping[str, str], what: str, otherwise: Unit) -> Unit:
    return unit("volume flow", units[what]) if what in units else otherwise


def _flow(flow: Results, row: int, in_unit: Unit) -> str:
    value, u = in_unit.from_si(flow.value[row]), in_unit.difference_from_si(flow.expanded_uncertainty[row])
    return f"({round_result(float(value), float(u))}) {in_unit.symbol}"


def _conformity(judgement: Judgement | None, row: int) -> str | None:
    return None if judgement is None else str(judgement.statement[row]) or None


def _totals(evaluation: Evaluation, totals: Totals, units: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    for row, total in enumerate(totals.totals):
        if totals.flow is not None and total.measured:
            outlets = (each.outlet for each in evaluation.measured if each.outlet.id in total.sign)
            what = _total(total.system, total.service)
            in_unit = _unit(units, what, common_flow_unit(flow_unit(outlet).symbol for outlet in outlets))
            yield what, _said(_flow(totals.flow, row, in_unit), _conformity(totals.judgement, row))


def _reading(reading: int, outlet: str) -> str:
    return f"reading {reading} at {outlet}"


def _refusal(outlet: str, tag: str, observed_at: str) -> str:
    return f"refused reading at {outlet} with {tag}, {observed_at}"


def _total(system: str | None, service: str) -> str:
    return f"{system or 'all systems'}, {service}"
