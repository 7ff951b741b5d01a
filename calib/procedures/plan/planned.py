"""What a plan of a job says: instruments, predicted readings, outlets, and what would pass."""

import math
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from calib.confirmation.conformity import ToleranceIntervals, guard_bands
from calib.confirmation.interval import Decision
from calib.confirmation.risk import capability_index, uncertainty_over_tolerance
from calib.confirmation.words import GUARDED_NON_BINARY, SIMPLE
from calib.measurement.way import Way
from calib.procedures.measure.air import AirFound
from calib.procedures.measure.standing import Standing
from calib.procedures.on_record.flow_limits import NO_LIMITS
from calib.procedures.on_record.way_of_instrument import way_of_instrument
from calib.records.tables.instruments import Instrument
from calib.records.tables.jobs import Job
from calib.records.tables.methods import Method
from calib.records.tables.outlets import Outlet
from calib.uncertainty.budget import Budget, Lever, levers
from calib.uncertainty.propagation import welch_satterthwaite

YES, NO, NOT_KNOWN = "yes", "no", "not known"
TRAVERSE = "traverse"  # pattern of methods that go with a section only
EXPECTED = "expected"  # name of the conditions that a person expects

ON_THE_MARK = 1.0 + 1e-9  # a value on a mark counts as having reached it, as in calib.uncertainty.budget


@dataclass(frozen=True)
class ExpectedAir:
    """Air that is expected where the job will be measured."""

    temperature: float  # [K]
    pressure: float  # absolute [Pa]
    humidity: float  # relative [1]


@dataclass(frozen=True)
class Wish:
    """What is asked of a plan."""

    at: datetime  # when the job is to be measured
    now: datetime
    at_most: float = 1.0  # U over the half-width of the tolerance that counts as proof [1]
    methods: tuple[str, ...] = ()  # by name; empty: those whose pattern suits
    air: ExpectedAir | None = None  # absent: the job's latest conditions on record

    @property
    def known(self) -> datetime:
        """The time by which the gate judges: a day to come is asked about as if it were now."""
        return max(self.at, self.now)


@dataclass(frozen=True)
class Gear:
    """An instrument, with the probe before it where it is a manometer."""

    instrument: Instrument
    decision: Decision
    probe: Instrument | None = None
    probe_decision: Decision | None = None

    @property
    def name(self) -> str:
        """How it is called."""
        return self.instrument.tag if self.probe is None else f"{self.instrument.tag} + {self.probe.tag}"

    @property
    def way(self) -> Way:
        """The way in which it measures."""
        return way_of_instrument(self.instrument)


@dataclass(frozen=True)
class Predicted:
    """The reading that the design flow would give, and what its uncertainty can prove. Flows in [m3/s], in the design's state."""

    gear: Gear
    method: Method
    standing: Standing  # one observation, or one pass of a traverse
    velocity: float  # mean velocity [m/s]; of a hood the flow [m3/s]
    half_width: float  # T, of the tolerance interval
    density_ratio: float  # density of the air over that at which the design is stated; 1 where it is as measured [1]
    at_most: float  # U/T that counts as proof [1]
    of_one: Budget  # one observation; without repeatability where none is declared
    observations: int | None  # fewest that bring U to at_most * T; absent where none does, or none can be told
    with_them: Budget  # so many observations; one where `observations` is absent

    @property
    def declared(self) -> bool:
        """Whether the instrument declares the repeatability that more observations are predicted from."""
        return not math.isnan(self.standing.indication.u)

    @property
    def over_tolerance(self) -> float:
        """U/T with `with_them` [1]; 1/C_m of JCGM 106, 7.6.3, where k = 2."""
        return self.ratio_of(self.with_them)

    @property
    def least(self) -> float:
        """U/T that is left however many observations are taken [1]."""
        return self.ratio_of(self._without_repeatability)

    @property
    def ruling(self) -> Lever:
        """The contribution that rules what is left."""
        return levers(self._without_repeatability)[0]

    @property
    def _without_repeatability(self) -> Budget:
        return self.of_one.with_contribution(self.of_one.names.index("repeatability"), 0.0, math.inf)

    @property
    def verdict(self) -> str:
        """Whether the tolerance can be proved: YES, NO, or NOT_KNOWN where U has yet to gain an undeclared repeatability."""
        if self.observations is not None:
            return YES
        return NO if self.over_tolerance > self.at_most * ON_THE_MARK else NOT_KNOWN

    @property
    def capability(self) -> float:
        """Measurement capability index C_m with `with_them` [1] (JCGM 106, 7.6.3)."""
        return float(capability_index(self._tolerance, self.with_them.standard_uncertainty))

    def as_measured(self, flow: float) -> float:
        """A flow in the design's state as it is in the air that is expected [m3/s]."""
        return flow / self.density_ratio

    def acceptance(self, limits: tuple[float, float], rule: str) -> "PlannedAcceptance":
        """The flows, as measured, that a decision rule would accept with `with_them`, for limits in the design's state."""
        accepted = acceptance(limits, self.guard_band(limits, rule), rule)
        return PlannedAcceptance(
            *(
                None if ends is None else (self.as_measured(ends[0]), self.as_measured(ends[1]))
                for ends in (accepted.interval, accepted.conditional)
            )
        )

    def ratio_of(self, budget: Budget) -> float:
        """U/T of a budget [1]."""
        return float(uncertainty_over_tolerance(budget.expanded_uncertainty, self._tolerance))

    def guard_band(self, limits: tuple[float, float], rule: str) -> float:
        """The guard band of a decision rule with `with_them` [m3/s]."""
        budget, interval = self.with_them, ToleranceIntervals(*(np.array([limit]) for limit in limits))
        dof = welch_satterthwaite(budget.uncertainties, budget.degrees_of_freedom)
        U = np.array([budget.expanded_uncertainty])
        guards = guard_bands(
            U, U / budget.standard_uncertainty, np.array([dof]), interval, rule, budget.coverage_probability
        )
        return float(guards.width[0])

    @property
    def _tolerance(self) -> ToleranceIntervals:
        return ToleranceIntervals(np.array(-self.half_width), np.array(self.half_width))


@dataclass(frozen=True)
class Unusable:
    """An instrument that is no candidate at an outlet, and why."""

    gear: Gear
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class OutletPlan:
    """One outlet or duct: the candidates, the best first, and those that are none."""

    outlet: Outlet
    design: float  # [m3/s]; NaN where there is none, or no tolerance
    half_width: float = (
        math.nan
    )  # T [m3/s]: half of what lies between two limits, or from the design to the one that there is
    limits: tuple[float, float] = NO_LIMITS  # [m3/s]
    candidates: tuple[Predicted, ...] = ()
    unusable: tuple[Unusable, ...] = ()
    remarks: tuple[str, ...] = ()  # of the place itself
    traverse: tuple[str, int, int] | None = None  # rule, lines and points that a duct is planned with
    left_out: tuple[str, ...] = ()  # tags of instruments that fit the place and may not be used that day

    @property
    def has_design(self) -> bool:
        """Whether there is a design flow with a tolerance."""
        return math.isfinite(self.design)

    @property
    def provable(self) -> bool:
        """Whether an instrument can prove the tolerance."""
        return any(candidate.verdict == YES for candidate in self.candidates)


@dataclass(frozen=True)
class LeftOut:
    """An instrument that cannot be planned with anywhere."""

    instrument: Instrument
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class JobPlan:
    """A job before it is measured."""

    job: Job
    wish: Wish
    outlets: tuple[OutletPlan, ...]
    left_out: tuple[LeftOut, ...]
    standards: tuple[str, ...]  # tags among the candidates that serve as reference standards
    air: AirFound | None  # absent: none is known
    air_reasons: tuple[str, ...] = ()  # why conditions on record are of no use

    @property
    def without_instrument(self) -> tuple[OutletPlan, ...]:
        """Outlets with a design that no instrument at hand can prove."""
        return tuple(outlet for outlet in self.outlets if outlet.has_design and not outlet.provable)


@dataclass(frozen=True)
class PlannedAcceptance:
    """Measured flows that would pass [m3/s]."""

    interval: tuple[float, float] | None  # None: no flow would
    conditional: tuple[float, float] | None  # that would pass conditionally at least; None but by the non-binary rule


def planned_half_width(design: float, limits: tuple[float, float]) -> float:
    """T: half of what lies between two limits, or from the design to the only one [m3/s]; NaN where there is none."""
    low, high = limits
    if math.isfinite(low) and math.isfinite(high):
        return (high - low) / 2
    return (
        abs(design - (low if math.isfinite(low) else high)) if math.isfinite(low) or math.isfinite(high) else math.nan
    )


def acceptance(limits: tuple[float, float], guard_band: float, rule: str) -> PlannedAcceptance:
    """Acceptance interval of a decision rule with a guard band (JCGM 106, 8.2 and 8.3.2; ILAC-G8, 4.2; from memory).

    All in [m3/s]; a limit that there is none of is infinite. The guard band is the one of `guard_bands`; it is taken to be the same
    at both ends.
    """
    low, high = limits
    guard = 0.0 if rule == SIMPLE else guard_band
    interval = (low + guard, high - guard) if 2 * guard <= (high - low) * ON_THE_MARK else None
    return PlannedAcceptance(interval, limits if rule == GUARDED_NON_BINARY else None)
