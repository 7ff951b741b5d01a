"""Totals of a job: each service and the net flow of each system, of the whole job, and the net flow of each room."""

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from calib.arrays import Floats, Integers, Truths
from calib.confirmation.risk import probability_above
from calib.measurement import Flows
from calib.procedures.measure.results import Judgement, Results, judge_flows, results
from calib.procedures.measure.standing import Standing
from calib.procedures.on_record.flow_unit import flow_unit
from calib.quantities import unit
from calib.records import tables
from calib.records.tables import NET
from calib.uncertainty.propagation import Combined, combine_totals

# Sign of each service in a net flow.
NET_SIGN = {"supply": 1.0, "return": -1.0, "exhaust": -1.0}

Outlets = Mapping[int, tables.Outlet]
Designs = Mapping[tuple[str, str], tables.SystemDesign]  # by system and service

# A net design below this share of what it is the difference of is 0: what is left is the rounding of floats.
_NOTHING = 1e-9


@dataclass(frozen=True)
class Total:
    """What one total adds up, and how much of it was measured."""

    system: str  # "" for the whole job
    service: str  # a service, or NET
    measured: int  # outlets with a reading that stands
    outlets: int  # outlets that belong to it
    design: float = float(
        "nan"
    )  # declared, or the sum of its outlets' designs where each has one; of a net, the net [m3/s]
    tolerance: float = float("nan")  # declared for the total [1]
    room: str = ""
    wanted: str = ""  # "positive" or "negative" net flow that the design asks of a room
    sign: Mapping[int, float] = field(default_factory=dict, repr=False)  # of each outlet, by its key


@dataclass(frozen=True)
class Totals:
    """Totals with their flows; rows run together."""

    totals: tuple[Total, ...]
    flow: Results | None = None  # absent where no reading stands
    judgement: Judgement | None = None
    as_wanted: Floats | None = None  # (n,) probability that the net flow has the sign that is wanted; NaN: none is


@dataclass(frozen=True)
class Plan:
    """What the totals of a job are made of, before anything is measured."""

    outlets: Outlets
    designs: Designs
    rooms: Mapping[str, str]  # room -> the sign that is wanted


def counted(outlets: Outlets) -> dict[int, tables.Outlet]:
    """Outlets that totals take: those that say so; of the others the outlets, and a duct where its system has no outlet."""
    with_outlets = {(outlet.system, outlet.service) for outlet in outlets.values() if outlet.place != tables.DUCT}
    return {
        outlet_id: outlet
        for outlet_id, outlet in outlets.items()
        if outlet.in_totals == "yes"
        or (
            outlet.in_totals is None
            and (outlet.place != tables.DUCT or (outlet.system, outlet.service) not in with_outlets)
        )
    }


def totals_of_systems(plan: Plan, stands: frozenset[int]) -> list[Total]:
    """One total for each service of each system, then the net of each system with more than one service."""
    members: dict[str, dict[int, tables.Outlet]] = defaultdict(dict)
    for outlet_id, outlet in sorted(counted(plan.outlets).items()):
        members[outlet.system][outlet_id] = outlet
    return [total for system, outlets in members.items() for total in _services(plan, system, outlets, stands)]


def totals_of_job(plan: Plan, stands: frozenset[int]) -> list[Total]:
    """The same for the whole job; none where it has one system only."""
    outlets = counted(plan.outlets)
    several = len({outlet.system for outlet in outlets.values()}) > 1
    return list(_services(plan, "", outlets, stands)) if several else []


def totals_of_rooms(plan: Plan, stands: frozenset[int]) -> list[Total]:
    """The net flow of each room that outlets name."""
    members: dict[str, dict[int, tables.Outlet]] = defaultdict(dict)
    for outlet_id, outlet in sorted(counted(plan.outlets).items()):
        if outlet.room is not None:
            members[outlet.room][outlet_id] = outlet
    return [_total("", NET, outlets, stands, {}, room, plan.rooms.get(room, "")) for room, outlets in members.items()]


def _services(plan: Plan, system: str, outlets: Outlets, stands: frozenset[int]) -> Iterable[Total]:
    present = {outlet.service for outlet in outlets.values()}
    for service in NET_SIGN:
        if service in present:
            mine = {outlet_id: outlet for outlet_id, outlet in outlets.items() if outlet.service == service}
            yield _total(system, service, mine, stands, plan.designs)
    if len(present) > 1:
        yield _total(system, NET, outlets, stands, plan.designs)


def _total(
    system: str,
    service: str,
    outlets: Outlets,
    stands: frozenset[int],
    designs: Designs,
    room: str = "",
    wanted: str = "",
) -> Total:
    sign = {outlet_id: NET_SIGN[outlet.service] if service == NET else 1.0 for outlet_id, outlet in outlets.items()}
    declared = designs.get((system, service))
    tolerance = float("nan") if declared is None else float(declared.tolerance_percent or "nan") / 100
    design, measured = _design(outlets, sign, designs), sum(outlet_id in stands for outlet_id in outlets)
    return Total(system, service, measured, len(outlets), design, tolerance, room, wanted, sign)


def _design(outlets: Outlets, sign: Mapping[int, float], designs: Designs) -> float:
    """Sum with its signs of the designs: of each service of a system what is declared, else those of its outlets [m3/s]."""
    groups: dict[tuple[str, str], list[int]] = defaultdict(list)
    for outlet_id, outlet in outlets.items():
        groups[outlet.system, outlet.service].append(outlet_id)
    parts = []
    for names, members in groups.items():
        declared = designs.get(names)
        of_group = sum(design_of(outlets[member]) for member in members) if declared is None else _declared(declared)
        parts.append(sign[members[0]] * of_group)
    total = math.fsum(parts)
    return 0.0 if abs(total) <= _NOTHING * math.fsum(map(abs, parts)) else total


def _declared(design: tables.SystemDesign) -> float:
    return unit("volume flow", design.flow_unit).to_si(float(design.design_flow))


def design_of(outlet: tables.Outlet) -> float:
    """Design flow [m3/s]; NaN where an outlet has none."""
    if outlet.design_flow is None:
        return float("nan")
    return flow_unit(outlet).to_si(float(outlet.design_flow))


def with_flows(
    totals: Sequence[Total], counts: Sequence[Standing | None], flows: Flows, rule: str, coverage_probability: float
) -> Totals:
    """Totals with their flows, their conformity where a tolerance is declared, and the probability of a wanted sign.

    `counts` holds for each reading its standing where the totals take it, else None.
    """
    if not totals:
        return Totals(())
    flow = results(*_sums(totals, counts, flows), coverage_probability)
    complete = np.array([total.measured == total.outlets for total in totals])
    design = np.where(complete, [total.design for total in totals], np.nan)
    judgement = judge_flows(flow, design, np.array([total.tolerance for total in totals]), rule)
    return Totals(tuple(totals), flow, judgement, _as_wanted(totals, flow, complete))


def _sums(totals: Sequence[Total], counts: Sequence[Standing | None], flows: Flows) -> tuple[Floats, Combined]:
    """Values and combined uncertainties; a total without a single reading is 0 with u = 0."""
    size = len(totals)
    value, u = np.zeros(size), np.zeros(size)
    dof, parts = np.full(size, np.inf), np.zeros((size, len(flows.contributions)))
    for layer in _layers(totals):
        membership, sign = _membership(totals, layer, counts)
        inside = membership >= 0
        combined = combine_totals(flows.contributions, membership, sign, size)
        value[layer] = np.bincount(membership[inside], (flows.flow * sign)[inside], size)[layer]
        u[layer] = combined.standard_uncertainty[layer]
        dof[layer] = combined.degrees_of_freedom[layer]
        parts[layer] = combined.uncertainties[layer]
    return value, Combined(u, dof, parts)


def _layers(totals: Sequence[Total]) -> list[list[int]]:
    """Totals in which no outlet stands twice: the services, and the net flows."""
    net = [row for row, total in enumerate(totals) if total.service == NET]
    services = [row for row, total in enumerate(totals) if total.service != NET]
    return [layer for layer in (services, net) if layer]


def _membership(
    totals: Sequence[Total], layer: Sequence[int], counts: Sequence[Standing | None]
) -> tuple[Integers, Floats]:
    place = {outlet: total for total in layer for outlet in totals[total].sign}
    membership, sign = np.full(len(counts), -1), np.ones(len(counts))
    for row, reading in enumerate(counts):
        total = -1 if reading is None else place.get(reading.outlet.id or -1, -1)
        if reading is not None and total >= 0:
            membership[row], sign[row] = total, totals[total].sign[reading.outlet.id or -1]
    return membership, sign


def _as_wanted(totals: Sequence[Total], flow: Results, complete: Truths) -> Floats:
    above = probability_above(flow.value, flow.combined.standard_uncertainty, flow.combined.degrees_of_freedom, 0.0)
    wanted = np.array([total.wanted for total in totals])
    return np.select(
        [complete & (wanted == "positive"), complete & (wanted == "negative")], [above, 1.0 - above], np.nan
    )
