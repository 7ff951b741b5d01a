"""Totals of a job: each service and the net flow of each system, of the whole job, and the net flow of each room."""

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from calib.arrays import Floats, Integers, Truths
from calib.confirmation.risk import probability_above
from calib.measurement import Flows
from calib.procedures.measure.results import Judgement, Results, judge_flows, results
from calib.procedures.on_record.flow_unit import flow_unit
from calib.quantities import unit
from calib.records import tables
from calib.records.tables import NET
from calib.uncertainty.propagation import Combined, combine_totals

# Sign of each service in a net flow.
NET_SIGN = {"supply": 1.0, "return": -1.0, "exhaust": -1.0}

Outlets = Mapping[int, tables.Outlet]
Designs = Mapping[tuple[str, str], tables.SystemDesign]  # by system and service

NO_OUTLET = -1  # among keys of outlets

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

    @cached_property
    def counted(self) -> dict[int, tables.Outlet]:
        """Outlets that totals take, in the order of their keys."""
        return dict(sorted(counted(self.outlets).items()))

    @cached_property
    def design_flows(self) -> dict[int, float]:
        """Design flow of each outlet [m3/s]."""
        return {number: design_of(outlet) for number, outlet in self.outlets.items()}


def counted(outlets: Outlets) -> dict[int, tables.Outlet]:
    """Outlets that totals take: those that say so; of the others the outlets, and a duct where its system has no outlet."""
    with_outlets = {(outlet.system, outlet.service) for outlet in outlets.values() if outlet.place != tables.DUCT}
    return {
        number: outlet
        for number, outlet in outlets.items()
        if outlet.in_totals == "yes"
        or (
            outlet.in_totals is None
            and (outlet.place != tables.DUCT or (outlet.system, outlet.service) not in with_outlets)
        )
    }


def totals_of_systems(plan: Plan, stands: frozenset[int]) -> list[Total]:
    """One total for each service of each system, then the net of each system with more than one service."""
    members: dict[str, list[int]] = defaultdict(list)
    for number, outlet in plan.counted.items():
        members[outlet.system].append(number)
    return [total for system, outlets in members.items() for total in _services(plan, system, outlets, stands)]


def totals_of_job(plan: Plan, stands: frozenset[int]) -> list[Total]:
    """The same for the whole job; none where it has one system only."""
    several = len({outlet.system for outlet in plan.counted.values()}) > 1
    return list(_services(plan, "", list(plan.counted), stands)) if several else []


def totals_of_rooms(plan: Plan, stands: frozenset[int]) -> list[Total]:
    """The net flow of each room that outlets name."""
    members: dict[str, list[int]] = defaultdict(list)
    for number, outlet in plan.counted.items():
        if outlet.room is not None:
            members[outlet.room].append(number)
    return [_total(plan, "", NET, outlets, stands, room) for room, outlets in members.items()]


def _services(plan: Plan, system: str, outlets: Sequence[int], stands: frozenset[int]) -> Iterable[Total]:
    of_service: dict[str, list[int]] = defaultdict(list)
    for number in outlets:
        of_service[plan.outlets[number].service].append(number)
    for service in NET_SIGN:
        if service in of_service:
            yield _total(plan, system, service, of_service[service], stands)
    if len(of_service) > 1:
        yield _total(plan, system, NET, outlets, stands)


def _total(
    plan: Plan, system: str, service: str, outlets: Sequence[int], stands: frozenset[int], room: str = ""
) -> Total:
    sign = {number: NET_SIGN[plan.outlets[number].service] if service == NET else 1.0 for number in outlets}
    designs = {} if room else plan.designs  # of a room nothing is declared but the sign that is wanted
    declared = designs.get((system, service))
    tolerance = float("nan") if declared is None else float(declared.tolerance_percent) / 100
    design, measured = _design(plan, sign, designs), sum(number in stands for number in outlets)
    return Total(
        system, service, measured, len(outlets), design, tolerance, room, plan.rooms.get(room, "") if room else "", sign
    )


def _design(plan: Plan, sign: Mapping[int, float], designs: Designs) -> float:
    """Sum with its signs of the designs: of each service of a system what is declared, else those of its outlets [m3/s]."""
    groups: dict[tuple[str, str], list[int]] = defaultdict(list)
    for number in sign:
        groups[plan.outlets[number].system, plan.outlets[number].service].append(number)
    parts = []
    for names, members in groups.items():
        declared = designs.get(names)
        of_group = sum(plan.design_flows[member] for member in members) if declared is None else _declared(declared)
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
    totals: Sequence[Total], counts: Integers, flows: Flows, rule: str, coverage_probability: float
) -> Totals:
    """Totals with their flows, their conformity where a tolerance is declared, and the probability of a wanted sign.

    `counts` (n,) holds for each reading the key of its outlet where the totals take it, else NO_OUTLET.
    """
    if not totals:
        return Totals(())
    flow = results(*_sums(totals, counts, flows), coverage_probability)
    complete = np.array([total.measured == total.outlets for total in totals])
    design = np.where(complete, [total.design for total in totals], np.nan)
    judgement = judge_flows(flow, design, np.array([total.tolerance for total in totals]), rule)
    return Totals(tuple(totals), flow, judgement, _as_wanted(totals, flow, complete))


def _sums(totals: Sequence[Total], counts: Integers, flows: Flows) -> tuple[Floats, Combined]:
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
    net = [number for number, total in enumerate(totals) if total.service == NET]
    services = [number for number, total in enumerate(totals) if total.service != NET]
    return [layer for layer in (services, net) if layer]


def _membership(totals: Sequence[Total], layer: Sequence[int], counts: Integers) -> tuple[Integers, Floats]:
    place = {outlet: (number, sign) for number in layer for outlet, sign in totals[number].sign.items()}
    membership, sign = np.array([place.get(outlet, (-1, 1.0)) for outlet in counts.tolist()]).T
    return membership.astype(np.int64), sign


def _as_wanted(totals: Sequence[Total], flow: Results, complete: Truths) -> Floats:
    above = probability_above(flow.value, flow.combined.standard_uncertainty, flow.combined.degrees_of_freedom, 0.0)
    wanted = np.array([total.wanted for total in totals])
    return np.select(
        [complete & (wanted == "positive"), complete & (wanted == "negative")], [above, 1.0 - above], np.nan
    )
