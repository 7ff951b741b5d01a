"""Fleets of known drift: drawn by chance, calibrated year after year, reviewed by the program, and found at the due day.

Errors are in shares of the limit, at five indications. In each fleet one law holds, with one size for all of it:

- still: nothing drifts; steady: each instrument at a rate of its own; common: all in one direction, each a little differently;
- walk: random walk, variance growing with time; both: half of each.

A part of what moves an instrument is common to its indications, the rest is each indication's own. A calibration adds the
laboratory's error (the same in every certificate, or drawn anew) and the comparison's own. In half of the fleets an instrument
found beyond 70 % of a limit is adjusted. Sizes are drawn so that some fleets stay within their limits for years, and some do not
for one.
"""

from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from calib.confirmation.history import DAYS_IN_A_YEAR, CalibrationErrors, ErrorPoints, changes_between
from calib.confirmation.recommendation import ACCEPT_CORRECTED, ADJUST, STEPS, recommend, spread

LAWS = ("still", "steady", "common", "walk", "both")
TARGET = 0.95
X = np.arange(1.0, 6.0)
LIMIT = np.ones(X.size)
FIRST = date(2000, 1, 1)
FOUND = 400  # times that the day due is drawn
_ADJUSTED_BEYOND = 0.7


@dataclass(frozen=True)
class Fleet:
    """What is true of a fleet; errors in shares of the limit, times in years."""

    law: str
    size: float  # of the drift in a year
    instruments: int
    ended: int  # intervals on record
    years: float  # the present interval
    common: float  # part of the variance that indications share
    own: float  # standard deviation of a comparison
    laboratory: float  # standard deviation of a reference
    repeated: bool  # whether the laboratory repeats its error
    adjusts: bool


def drawn(rng):
    """A fleet."""
    return Fleet(
        LAWS[rng.integers(len(LAWS))],
        float(np.exp(rng.uniform(np.log(0.03), np.log(1.2)))),
        int(rng.integers(1, 13)),
        int(rng.integers(3, 9)),
        float(rng.choice([0.5, 1.0, 2.0])),
        float(rng.uniform(0.6, 1.0)),
        float(np.exp(rng.uniform(np.log(0.01), np.log(0.08)))),
        float(np.exp(rng.uniform(np.log(0.02), np.log(0.12)))),
        bool(rng.random() < 0.5),
        bool(rng.random() < 0.5),
    )


class Instrument:
    """One instrument of a fleet: its true errors, and its certificates."""

    def __init__(self, fleet, bias, rng):
        self.fleet, self.rng, self.bias = fleet, rng, bias
        part = {"steady": 1.0, "common": 0.3, "both": 0.7}.get(fleet.law, 0.0)
        self.rate = fleet.size * part * self._spread(()) + (bias.direction * fleet.size if fleet.law == "common" else 0)
        self.walk = fleet.size * {"walk": 1.0, "both": 0.7}.get(fleet.law, 0.0)
        self.error = rng.uniform(-0.4, 0.4) + 0.05 * rng.standard_normal(X.size)
        self.on = FIRST
        self.history = [self._certificate(None)]
        for _ in range(fleet.ended):
            self._calibrated()

    def _spread(self, times):
        shared = self.rng.standard_normal((*times, 1))
        return np.sqrt(self.fleet.common) * shared + np.sqrt(1 - self.fleet.common) * self.rng.standard_normal(
            (*times, X.size)
        )

    def moved(self, error, years, times=()):
        """The true errors some years later, drawn so many times."""
        return error + self.rate * years + self.walk * np.sqrt(years) * self._spread(times)

    def measured(self, error):
        """Errors as a certificate shows them, each row by itself."""
        anew = self.fleet.laboratory * self.rng.standard_normal((*error.shape[:-1], 1))
        reference = self.bias.laboratory if self.fleet.repeated else anew
        return error + reference + self.fleet.own * self.rng.standard_normal(error.shape)

    def adjusted(self):
        """The true errors after an adjustment: what the laboratory cannot see stays."""
        left = self.fleet.own * self.rng.standard_normal(X.size) / 2
        return left - (self.bias.laboratory if self.fleet.repeated else 0.0)

    def _calibrated(self):
        years = self.fleet.years * self.rng.uniform(0.9, 1.1)
        self.error = self.moved(self.error, years)
        self.on += timedelta(days=round(years * DAYS_IN_A_YEAR))
        self.history.append(self._certificate(self._points(self.measured(self.error))))

    def _certificate(self, as_found):
        left = as_found if as_found is not None else self._points(self.measured(self.error))
        if self.fleet.adjusts and as_found is not None and np.abs(left.error).max() > _ADJUSTED_BEYOND:
            self.error = self.adjusted()
            left = self._points(self.measured(self.error))
        return CalibrationErrors(self.on, f"C-{self.on}", "Laboratory", as_found, left)

    def _points(self, error):
        return ErrorPoints(X, error, np.full(X.size, self.fleet.own), np.full(X.size, self.fleet.laboratory))


@dataclass(frozen=True)
class Bias:
    """What all of a fleet share."""

    laboratory: float
    direction: float


@dataclass(frozen=True)
class Reviewed:
    """What a review said of the first instrument of a fleet, and what is true."""

    law: str
    instruments: int
    share_of_present: float  # proposed interval over the present one
    stated: float
    found: float  # share in tolerance at the day due
    moved: int  # steps by which the last certificate moved the proposal
    adjusts: bool


def reviewed(seed, *, alone=False):
    """Draw a fleet, or one instrument, review the first before and after the last certificate, and find it at the day due."""
    rng = np.random.default_rng(seed)
    fleet = replace(drawn(rng), instruments=1) if alone else drawn(rng)
    bias = Bias(fleet.laboratory * rng.standard_normal(), float(rng.choice([-1.0, 1.0])))
    instruments = [Instrument(fleet, bias, rng) for _ in range(fleet.instruments)]
    before, said = (_recommended(fleet, [each.history[:end] for each in instruments]) for end in (-1, None))
    first, years = instruments[0], said.months / 12
    start = first.adjusted() if said.action in (ADJUST, ACCEPT_CORRECTED) else first.error
    at_due = first.measured(first.moved(start, years, (FOUND,)))
    return Reviewed(
        fleet.law,
        fleet.instruments,
        years / fleet.years,
        said.reliability,
        float((np.abs(at_due) <= 1).all(axis=1).mean()),
        abs(STEPS.index(said.months) - STEPS.index(before.months)),
        said.action in (ADJUST, ACCEPT_CORRECTED),
    )


def _recommended(fleet, histories):
    changes = [changes_between(history, X) for history in histories]
    known = spread(changes[0], changes[1:], LIMIT)
    return recommend(round(12 * fleet.years), TARGET, histories[0][-1].as_left.error, LIMIT, known, adjustable=True)
