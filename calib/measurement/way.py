"""What a way of measuring is: what a reading by it needs, its value, its sensitivities, its trial, its formula.

Each way stands in a file of its own and in one row of `calib.measurement.ways.WAYS`; whatever depends on how air is measured asks
the way of a reading. Functions are given arrays that run together, (P,) over points or (t,) over trials, in SI; densities are those
of the air there, rho, and of the reference state or of the calibration, rho_0, in [kg/m3].

A value is worked out by one function for estimates and for trials (JCGM 101, 7.4): nothing in it is linearised. Its sensitivity
coefficients (GUM 5.1.3) stand beside it.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import Enum

import numpy as np

from calib.airflow.velocity import LowPressure
from calib.arrays import Floats
from calib.measurement.notation import Term

Density = Floats | float
Corrected = Callable[[Term], Term]  # writes what the instrument's curve makes of an indication
FormulaOf = Callable[[Corrected, Term], tuple[Term, ...]]  # of an indication: the value, then what else it is said with


class ReferenceAir(Enum):
    """Whose density rho_0 is."""

    STATE = "reference state"  # that the instrument declares
    CALIBRATION = "certificate"  # the air during the calibration


class ProbeUse(Enum):
    """The probe before an instrument."""

    NONE = "none"
    NEEDED = "needed"  # with a calibration of its own
    CALIBRATED_WITH = "calibrated with it"  # has no calibration of its own that counts, and may be named


def unscaled(_density: Density, _reference_density: Density) -> Density:
    """Scale 1: the curve is asked at the indication itself."""
    return 1.0


def always(exponent: float) -> Callable[[Floats, Floats, Floats], float]:
    """An exponent of the density that is the same everywhere."""
    return lambda _scaled, _corrected, _slope: exponent


@dataclass(frozen=True, eq=False)
class InAir:
    """How a corrected indication y and the density of the air make a velocity v."""

    value: Callable[[Floats, Density, Density], Floats]  # v from y, rho, rho_0
    exponent: Callable[
        [Floats, Floats, Floats], Floats | float
    ]  # d ln v/d ln rho from scaled indication, y, curve's slope
    bent: Callable[[Floats, Density], Floats] | None = None  # dv/dy from y, rho; None: v is proportional to y
    scale: Callable[[Density, Density], Density] = unscaled  # of an indication, before the curve is asked; rho, rho_0
    corrected: Callable[[float, float, float], float] | None = None  # y from v; None: predicted without correction
    reference: ReferenceAir | None = None  # None: there is no rho_0
    rho_0: str = ""  # what it is, in a report
    near_zero: Callable[[Floats, Floats, Density], tuple[Floats, Floats]] | None = (
        None  # v and u(v) from y, u(y), rho where u(y) is large beside y
    )
    without: "Way | None" = None  # the way of a reading that names no conditions of the air; None: it must

    def slope(self, corrected: Floats, density: Density, reference_density: Density) -> Floats:
        """Sensitivity coefficient dv/dy at corrected indications y: of a value that is proportional to y what 1 makes of it."""
        if self.bent is not None:
            return self.bent(corrected, density)
        return self.value(np.ones_like(corrected), density, reference_density)


@dataclass(frozen=True, eq=False)
class OfTwo:
    """How two indications and a constant of the instrument, known with an uncertainty, make one value."""

    value: Callable[[Floats, Floats, Floats], Floats]  # raises CalibError for what cannot be
    sensitivities: Callable[[Floats, Floats, Floats], tuple[Floats, Floats, Floats]]  # to each of the three
    trial: Callable[[Floats, Floats, Floats | float], Floats]  # the value for whatever errors make of the three
    formula: Callable[[Corrected], tuple[Term, ...]]


@dataclass(frozen=True, eq=False)
class Way:
    """A way of measuring."""

    name: str  # in answers for machines
    title: str  # in a report
    indicates: str  # in a sentence
    quantity: str  # that the instrument measures; with the next the key of an instrument on record
    density_effect: str | None = None  # as the records say it
    instrument: str = "instrument"  # what measures so, in a sentence
    is_flow: bool = False  # a volume flow [m3/s] and no velocity: nothing of the opening is needed
    formula: FormulaOf = lambda corrected, x: (corrected(x),)
    in_air: InAir | None = None  # None: the density of the air does not count
    of_two: OfTwo | None = None  # None: the mean of the indications counts
    throttled: "Way | None" = None  # the way of a reading with its throttle open and set; None: it has none
    probe: ProbeUse = ProbeUse.NONE
    each_by_itself: bool = False  # every observation becomes a velocity before the mean is taken
    low: Callable[[float, float, float], LowPressure] | None = None  # told from zero? v, rho, U of the indication
    pattern: str | None = None  # that a method for it has
    not_at: Mapping[str, str] = field(default_factory=dict)  # place of an outlet on record at which it cannot be -> why
    not_traversed: str | None = None  # why a section is not traversed with it; None: it is
    may_be_probe: bool = False  # an instrument of this way may be one that stands before a manometer
    begins_at_most: float | None = None  # largest lower limit of a measuring interval [SI]; None: any

    @property
    def is_plain(self) -> bool:
        """Whether the mean of the corrected indications is the value."""
        return self.in_air is None and self.of_two is None

    @property
    def goes_to_zero(self) -> bool:
        """Whether indications below the lowest comparison have a value, down to none and below."""
        return self.in_air is not None and self.in_air.near_zero is not None

    @property
    def is_of_a_face(self) -> bool:
        """Whether it gives the velocity at a face: a hood takes the whole flow, and a probe before a manometer stands in a duct."""
        return not self.is_flow and self.probe is not ProbeUse.NEEDED

    @property
    def needs_air(self) -> bool:
        """Whether a reading must name the conditions of the air."""
        return self.in_air is not None and self.in_air.without is None

    @property
    def needs_reference_state(self) -> bool:
        """Whether the instrument must declare the state at which it indicates."""
        return self.in_air is not None and self.in_air.reference is ReferenceAir.STATE
