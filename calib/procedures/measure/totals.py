"""Totals of a job: each service and the net flow of each system, of the whole job, and the net flow of each room.

Where the job states a density, flows and designs are taken to it before they are summed: sums are masses. A design as measured is
taken there by the air of its outlet, one that a system declares by the air of its outlets in the mean; so it has an error of the
density too, and the total is judged by what that does to their difference.
"""

import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import chain
from operator import attrgetter

import numpy as np

from calib.arrays import Floats, Integers, Truths, by_kind
from calib.confirmation.conformity import ToleranceIntervals
from calib.confirmation.risk import probability_above
from calib.measurement import Flows
from calib.procedures.measure.compared import stated_density
from calib.procedures.measure.results import Judgement, Results, judge_flows, results
from calib.procedures.on_record.flow_limits import LIMITS_TYPED, NO_LIMITS, flow_limits
from calib.procedures.on_record.flow_unit import flow_unit
from calib.quantities import unit
from calib.records.tables.jobs import SystemDesign
from calib.records.tables.outlets import Outlet
from calib.records.words import DUCT, NET
from calib.uncertainty.propagation import Combined, combine_totals, lots_of_sums, sharing_not_known
from calib.uncertainty.second_order import Product

# Sign of each service in a net flow.
NET_SIGN = {"supply": 1.0, "return": -1.0, "exhaust": -1.0}

Outlets = Mapping[int, Outlet]
Designs = Mapping[tuple[str, str], SystemDesign]  # by system and service

NO_OUTLET = -1  # among keys of outlets

_DESIGN_AS_TYPED = attrgetter("design_flow", "flow_unit", *LIMITS_TYPED)

# Variances that differ by less than this are the same but for the rounding of floats: a group of one reading.
_ALIKE = 1e-9

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
    limits: tuple[float, float] = NO_LIMITS  # declared for the total [m3/s]
    declared: SystemDesign | None = field(default=None, repr=False)
    room: str = ""
    wanted: str = ""  # "positive" or "negative" net flow that the design asks of a room
    sign: Mapping[int, float] = field(default_factory=dict, repr=False)  # of each outlet, by its key


@dataclass(frozen=True)
class SharingNotKnown:
    """A group of readings in a total of which it is not known how far they share an influence."""

    contribution: str  # the influence
    line: str  # of the budget in which that of the reading stands
    reading: int  # row of one of them
    behind: bool  # whether it is of the reference standards behind the calibration of that one
    if_common: float  # standard uncertainty of the total, were it one error for all of them [m3/s]
    if_independent: float  # the same, were it an error for each [m3/s]


@dataclass(frozen=True)
class AllTogether:
    """Standard uncertainty of a total, were every group of which it is not known known to be so [m3/s]."""

    common: float
    independent: float


def all_together(u: float, groups: Sequence[SharingNotKnown]) -> AllTogether:
    """What a total of standard uncertainty u [m3/s] would have if all its groups were common, and if all were independent."""
    common, independent = (
        u**2 + math.fsum(answer**2 - u**2 for answer in answers)
        for answers in ([group.if_common for group in groups], [group.if_independent for group in groups])
    )
    return AllTogether(math.sqrt(max(common, 0.0)), math.sqrt(max(independent, 0.0)))


@dataclass(frozen=True)
class Totals:
    """Totals with their flows; rows run together."""

    totals: tuple[Total, ...]
    flow: Results | None = None  # absent where no reading stands
    judgement: Judgement | None = None
    as_wanted: Floats | None = None  # (n,) probability that the net flow has the sign that is wanted; NaN: none is
    not_known: tuple[tuple[SharingNotKnown, ...], ...] = ()  # (n,) groups of each whose results may share more or less


def _not_measured(totals: Sequence[Total]) -> Totals:
    return Totals(tuple(totals))


@dataclass(frozen=True)
class Balance:
    """Totals of the systems, of the whole job and of the rooms; their flows are summed when they are asked for."""

    systems: tuple[Total, ...]
    job: tuple[Total, ...]
    rooms: tuple[Total, ...]
    summed: Callable[[Sequence[Total]], Totals] = field(default=_not_measured, repr=False)

    @classmethod
    def of(
        cls,
        plan: "Plan",
        stands: frozenset[int],
        summed: Callable[[Sequence[Total]], Totals] = _not_measured,
    ) -> "Balance":
        """The totals of a plan; `stands` are the outlets that a reading stands of, by key."""
        every = (totals_of_systems, totals_of_job, totals_of_rooms)
        systems, job, rooms = (tuple(totals(plan, stands)) for totals in every)
        return cls(systems, job, rooms, summed)

    @cached_property
    def of_systems(self) -> Totals:
        """Those of the systems."""
        return self.summed(self.systems)

    @cached_property
    def of_job(self) -> Totals:
        """Those of the whole job; none where it has one system only."""
        return self.summed(self.job)

    @cached_property
    def of_rooms(self) -> Totals:
        """Net flows of the rooms."""
        return self.summed(self.rooms)


@dataclass(frozen=True)
class Plan:
    """What the totals of a job are made of, before anything is measured."""

    outlets: Outlets
    designs: Designs
    rooms: Mapping[str, str]  # room -> the sign that is wanted
    density: float | None = None  # of the totals [kg/m3]; None: as measured
    measured: Mapping[int, "MeasuredInAir"] = field(
        default_factory=dict
    )  # outlets with a reading that counts in totals

    @cached_property
    def counted(self) -> dict[int, Outlet]:
        """Outlets that totals take, in the order of their keys."""
        return dict(sorted(counted(self.outlets).items()))

    @cached_property
    def groups(self) -> list["_Group"]:
        """Outlets that totals take, by system and service."""
        return _groups(self, self.counted, self.designs)

    @cached_property
    def stated(self) -> dict[int, tuple[float, float, float]]:
        """Design flow of each outlet as it is stated, and its limits [m3/s]: asked once of all that state the same."""
        first, kind = by_kind(self.outlets.values(), _DESIGN_AS_TYPED)
        of_kind = [(design, *limits_of(outlet, design)) for outlet in first for design in [design_of(outlet)]]
        return dict(zip(self.outlets, map(of_kind.__getitem__, kind.tolist()), strict=True))

    @cached_property
    def has_designs_at_density(self) -> bool:
        """Whether a design states a density."""
        outlets, systems = self.outlets.values(), self.designs.values()
        stated = (
            *(each.design_density_kg_per_m3 for each in outlets),
            *(each.design_density_kg_per_m3 for each in systems),
        )
        return any(stated)

    @cached_property
    def compared(self) -> dict[int, float]:
        """What the uncertainty of an outlet's flow loses when it is compared with its design: D/Q times the exponent of D."""
        return {outlet_id: share for group in self.groups for outlet_id, share in _compared(self, group)}


@dataclass(frozen=True)
class MeasuredInAir:
    """What was measured at an outlet, and the air there."""

    flow: float  # as measured [m3/s]
    density: float  # of the air [kg/m3]; NaN: not known


@dataclass(frozen=True)
class _Group:
    """Outlets of one service of one system."""

    system: str
    service: str
    outlets: tuple[int, ...]
    design: float  # declared, or the sum of theirs [m3/s]


def counted(outlets: Outlets) -> dict[int, Outlet]:
    """Outlets that totals take: those that say so; of the others the outlets, and a duct where its system has no outlet."""
    with_outlets: set[tuple[str, str]] = set()
    if any(outlet.place == DUCT for outlet in outlets.values()):
        with_outlets = {(outlet.system, outlet.service) for outlet in outlets.values() if outlet.place != DUCT}
    return {
        outlet_id: outlet
        for outlet_id, outlet in outlets.items()
        if outlet.in_totals == "yes"
        or (outlet.in_totals is None and (outlet.place != DUCT or (outlet.system, outlet.service) not in with_outlets))
    }


def totals_of_systems(plan: Plan, stands: frozenset[int]) -> list[Total]:
    """One total for each service of each system, then the net of each system with more than one service."""
    systems: dict[str, list[_Group]] = defaultdict(list)
    for group in plan.groups:
        systems[group.system].append(group)
    return [total for system, groups in systems.items() for total in _services(plan, system, groups, stands)]


def totals_of_job(plan: Plan, stands: frozenset[int]) -> list[Total]:
    """The same for the whole job; none where it has one system only."""
    several = len({group.system for group in plan.groups}) > 1
    return list(_services(plan, "", plan.groups, stands)) if several else []


def totals_of_rooms(plan: Plan, stands: frozenset[int]) -> list[Total]:
    """The net flow of each room that outlets name: nothing is declared of it but the sign that is wanted."""
    rooms: dict[str, list[int]] = defaultdict(list)
    for outlet_id, outlet in plan.counted.items():
        if outlet.room is not None:
            rooms[outlet.room].append(outlet_id)
    totals = {room: _total(plan, "", NET, _groups(plan, outlets, {}), stands) for room, outlets in rooms.items()}
    return [replace(total, room=room, wanted=plan.rooms.get(room, "")) for room, total in totals.items()]


def _groups(plan: Plan, outlets: Iterable[int], designs: Designs) -> list[_Group]:
    members: dict[tuple[str, str], list[int]] = defaultdict(list)
    for outlet_id in outlets:
        outlet = plan.outlets[outlet_id]
        members[outlet.system, outlet.service].append(outlet_id)
    return [
        _Group(*names, tuple(numbers), _design(plan, names, numbers, designs)) for names, numbers in members.items()
    ]


def _design(plan: Plan, names: tuple[str, str], outlets: Sequence[int], designs: Designs) -> float:
    declared = designs.get(names)
    if declared is None and plan.density is None and not plan.has_designs_at_density:
        return sum(plan.stated[outlet_id][0] for outlet_id in outlets)
    if declared is None:
        return sum(_design_of_outlet(plan, outlet_id) for outlet_id in outlets)
    stated = unit("volume flow", declared.flow_unit).to_si(float(declared.design_flow))
    return stated * _taken(plan, stated_density(declared), _mean_density(plan, outlets))


def _design_of_outlet(plan: Plan, outlet_id: int) -> float:
    """The design of an outlet in the state of the totals [m3/s]; NaN where that is not known."""
    measured = plan.measured.get(outlet_id)
    air = float("nan") if measured is None else measured.density
    return plan.stated[outlet_id][0] * _taken(plan, stated_density(plan.outlets[outlet_id]), air)


def _taken(plan: Plan, stated: float, air: float) -> float:
    """What takes a design to the state of the totals, from the density that it states (NaN: as measured), in air of a density."""
    if plan.density is None:
        return 1.0 if math.isnan(stated) else stated / air
    return (air if math.isnan(stated) else stated) / plan.density


def _mean_density(plan: Plan, outlets: Sequence[int]) -> float:
    """Mass flow over volume flow of outlets [kg/m3]; NaN where the air of one is not known, or none was measured."""
    measured = [plan.measured[outlet_id] for outlet_id in outlets if outlet_id in plan.measured]
    volume = math.fsum(each.flow for each in measured)
    return math.fsum(each.flow * each.density for each in measured) / volume if volume > 0 else float("nan")


def _compared(plan: Plan, group: "_Group") -> Iterable[tuple[int, float]]:
    """For each outlet of a group that was measured D/Q times the exponent of D; the group's where its design is declared."""
    declared = plan.designs.get((group.system, group.service))
    measured = {outlet_id: plan.measured[outlet_id] for outlet_id in group.outlets if outlet_id in plan.measured}
    flows = {outlet_id: _flow_in_state(plan, each) for outlet_id, each in measured.items()}
    for outlet_id, flow in flows.items():
        if declared is None:
            design, whole, record = _design_of_outlet(plan, outlet_id), flow, plan.outlets[outlet_id]
            exponent = _exponent(plan, stated_density(record))
        else:
            design, whole = group.design, math.fsum(flows.values())
            exponent = _exponent(plan, stated_density(declared))
        has = exponent != 0 and math.isfinite(design) and whole > 0
        yield outlet_id, exponent * design / whole if has else 0.0


def _flow_in_state(plan: Plan, measured: MeasuredInAir) -> float:
    return measured.flow if plan.density is None else measured.flow * measured.density / plan.density


def _exponent(plan: Plan, stated: float) -> float:
    """How a design in the state of the totals goes with the density of the air."""
    if plan.density is None:
        return 0.0 if math.isnan(stated) else -1.0
    return 1.0 if math.isnan(stated) else 0.0


def _services(plan: Plan, system: str, groups: Sequence[_Group], stands: frozenset[int]) -> Iterable[Total]:
    present = {group.service for group in groups}
    for service in NET_SIGN:
        if service in present:
            yield _total(plan, system, service, [group for group in groups if group.service == service], stands)
    if len(present) > 1:
        yield _total(plan, system, NET, groups, stands)


def _total(plan: Plan, system: str, service: str, groups: Sequence[_Group], stands: frozenset[int]) -> Total:
    signs = [NET_SIGN[group.service] if service == NET else 1.0 for group in groups]
    sign = {outlet_id: of_group for group, of_group in zip(groups, signs, strict=True) for outlet_id in group.outlets}
    declared = plan.designs.get((system, service))
    design = _sum([of_group * group.design for group, of_group in zip(groups, signs, strict=True)])
    limits = NO_LIMITS if declared is None else flow_limits(declared, design, unit("volume flow", declared.flow_unit))
    return Total(system, service, len(stands.intersection(sign)), len(sign), design, limits, declared, sign=sign)


def _sum(designs: Sequence[float]) -> float:
    """Sum of designs with their signs [m3/s]."""
    total = math.fsum(designs)
    return 0.0 if abs(total) <= _NOTHING * math.fsum(map(abs, designs)) else total


def design_of(outlet: Outlet) -> float:
    """Design flow [m3/s]; NaN where an outlet has none."""
    if outlet.design_flow is None:
        return float("nan")
    return flow_unit(outlet).to_si(float(outlet.design_flow))


def limits_of(outlet: Outlet, design: float) -> tuple[float, float]:
    """Between which flows an outlet with its design flow conforms [m3/s]; NaN where it has no limits."""
    return flow_limits(outlet, design, flow_unit(outlet))


def with_flows(
    totals: Sequence[Total],
    counts: Integers,
    flows: Flows,
    rule: str,
    coverage_probability: float,
    judged: Flows | None = None,
) -> Totals:
    """Totals with their flows, their conformity where limits are declared, and the probability of a wanted sign.

    `counts` (n,) holds for each reading the key of its outlet where the totals take it, else NO_OUTLET. `judged` are the same
    flows with the uncertainty of their difference from the designs, where that is another.
    """
    if not totals:
        return Totals(())
    signs = [total.sign for total in totals]
    value, combined, not_known = sums_of(signs, counts, flows)
    flow = results(value, combined, coverage_probability, product=_product(totals, counts, flows))
    complete = np.array([total.measured == total.outlets for total in totals])
    design = np.where(complete, [total.design for total in totals], np.nan)
    of_difference = flow
    if judged is not None:
        _, of_judged, _ = sums_of(signs, counts, judged)
        of_difference = results(value, of_judged, coverage_probability)
    lower, upper = np.array([total.limits for total in totals]).T
    judgement = judge_flows(of_difference, design, ToleranceIntervals(lower, upper), rule)
    return Totals(tuple(totals), flow, judgement, _as_wanted(totals, flow, complete), not_known)


def sums_of(
    signs: Sequence[Mapping[int, float]], counts: Integers, flows: Flows
) -> tuple[Floats, Combined, tuple[tuple[SharingNotKnown, ...], ...]]:
    """Sums and differences with what their readings share: values [m3/s], combined uncertainties, what is not known of these.

    `signs` are, of each, its members with their signs, named as `counts` (n,) names the readings; one without a single reading
    is 0 with u = 0.
    """
    size = len(signs)
    value, u = np.zeros(size), np.zeros(size)
    dof, parts = np.full(size, np.inf), np.zeros((size, len(flows.contributions)))
    part_dof = np.full_like(parts, np.inf)
    not_known: list[tuple[SharingNotKnown, ...]] = [()] * size
    for layer in lots_of_sums(signs):
        membership, sign = _membership(signs, layer, counts)
        inside = membership >= 0
        combined = combine_totals(flows.contributions, membership, sign, size)
        value[layer] = np.bincount(membership[inside], (flows.flow * sign)[inside], size)[layer]
        u[layer] = combined.standard_uncertainty[layer]
        dof[layer] = combined.degrees_of_freedom[layer]
        parts[layer] = combined.uncertainties[layer]
        assert combined.part_degrees_of_freedom is not None  # noqa: S101 (totals have theirs)
        part_dof[layer] = combined.part_degrees_of_freedom[layer]
        for total, groups in _not_known(flows, membership, sign, combined).items():
            not_known[total] = groups
    return value, Combined(u, dof, parts, part_dof), tuple(not_known)


def _product(totals: Sequence[Total], counts: Integers, flows: Flows) -> Product:
    """Totals as the products that their flows are, each with the mean bend of these: exact where they are alike.

    Of a net flow none is told, since what is bent on one side meets the other.
    """
    of_flows = flows.product
    is_net = [len(set(total.sign.values())) > 1 for total in totals]
    return replace(of_flows, bend=np.where(is_net, np.nan, _mean_bend(totals, counts, flows, of_flows.bend)))


def _mean_bend(totals: Sequence[Total], counts: Integers, flows: Flows, bend: Floats) -> Floats:
    size = len(totals)
    if np.all(bend == bend[0]):  # the usual job is measured in one way
        return np.full(size, bend[0])
    weighted, weight = np.zeros(size), np.zeros(size)
    signs = [total.sign for total in totals]
    for layer in lots_of_sums(signs):
        membership, _ = _membership(signs, layer, counts)
        inside = membership >= 0
        flow = np.abs(flows.flow[inside])
        weighted += np.bincount(membership[inside], bend[inside] * flow, size)
        weight += np.bincount(membership[inside], flow, size)
    return np.divide(weighted, weight, out=np.zeros(size), where=weight > 0)


def _not_known(
    flows: Flows, membership: Integers, sign: Floats, combined: Combined
) -> dict[int, tuple[SharingNotKnown, ...]]:
    """The groups of each total that share an influence to an extent that is not known, and for which that makes a difference."""
    totals = combined.standard_uncertainty.size
    groups = sharing_not_known(flows.contributions, membership, sign, totals)
    rest = combined.standard_uncertainty[groups.total] ** 2 - groups.variance
    if_common, if_independent = (
        np.sqrt(np.maximum(rest + answer, 0.0)) for answer in (groups.if_common, groups.if_independent)
    )
    told: dict[int, tuple[SharingNotKnown, ...]] = {}
    matters = np.flatnonzero(~np.isclose(groups.if_common, groups.if_independent, rtol=_ALIKE, atol=0.0))
    arrays = (groups.total, groups.contribution, groups.result, groups.behind, if_common, if_independent)
    columns = zip(matters.tolist(), *(each[matters].tolist() for each in arrays), strict=True)
    for k, total, contribution, result, behind, *answers in columns:
        line = flows.contributions[contribution].name
        group = SharingNotKnown(str(groups.pool[k] or line), line, result, behind, *answers)
        told[total] = (*told.get(total, ()), group)
    return told


def _membership(
    signs_of: Sequence[Mapping[int, float]], layer: Sequence[int], counts: Integers
) -> tuple[Integers, Floats]:
    signs = [signs_of[place] for place in layer]
    outlets = np.array([NO_OUTLET, *chain.from_iterable(signs)])
    sign = np.array([1.0, *chain.from_iterable(each.values() for each in signs)])
    total = np.append(-1, np.repeat(layer, [len(each) for each in signs]))
    rising = np.argsort(outlets)
    place = rising[np.minimum(np.searchsorted(outlets, counts, sorter=rising), outlets.size - 1)]
    belongs = outlets[place] == counts
    return np.where(belongs, total[place], -1), np.where(belongs, sign[place], 1.0)


def _as_wanted(totals: Sequence[Total], flow: Results, complete: Truths) -> Floats:
    above = probability_above(flow.value, flow.combined.standard_uncertainty, flow.degrees_of_freedom, 0.0)
    wanted = np.array([total.wanted for total in totals])
    return np.select(
        [complete & (wanted == "positive"), complete & (wanted == "negative")], [above, 1.0 - above], np.nan
    )
