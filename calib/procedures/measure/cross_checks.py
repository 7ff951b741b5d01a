"""Cross-checks of a job: wherever two measurements speak about one flow, their difference with its U, and whether they agree.

    d = q_1 - q_2        E_n = d/U(d)        they agree where |E_n| <= 1

(ISO 13528:2022, 9.7; ISO/IEC 17043:2023, Annex B; from memory.)
q_1 and q_2 are sums of readings, and U(d) carries what these share by the same law as the totals do (`totals.sums_of`, GUM 5.2.2).
Which readings speak about one flow is a decision on the records alone:

- a main and its outlets: the duct of a system and service whose design is that of all its outlets, or several that make it up
  together; where no design tells, the only duct there is, which is then said. A duct whose traverses were paired with faces
  is none of these;
- an outlet by difference: the main less the outlets that were measured, where some were not. It has no E_n;
- a branch and its outlet: a duct whose traverses were paired with the face of one outlet. Where the factor that the outlet uses was
  found there, what errs in all the traverses alike is in the factor too, and cancels (`carried_by_factors.for_their_difference`);
- the supply of a room and what is taken from it: they agree too where the difference has the sign that the design asks for;
- a repeat and the reading that it repeats. Taken with the same instrument, probe and method, what errs in both cancels, as in the
  drift of the plant.

Decision (2026-11-29). A later reading that does not say it is a repeat is compared with nothing: a damper may have been set in
between. Options: comparing all readings of an outlet (an adjustment would look like two meters that disagree). Cost: a repeat
that nobody called one is not checked.

Decision (2026-11-29). All flows are taken at the job's density where the air of every reading compared is known,
else all as measured. Options: each check by itself (a list in two states). Cost: one duct whose air is
not known leaves the others as measured.
"""

import math
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from operator import attrgetter

import numpy as np
from sqlmodel import Session

from calib.confirmation.normalised_error import Agreement, agreement_of_difference
from calib.measurement import Flows
from calib.measurement.carried_by_factors import FoundInDuct, for_their_difference
from calib.procedures.measure.evaluate import Evaluation
from calib.procedures.measure.plant_drift import first_of_repeat, is_taken_alike
from calib.procedures.measure.results import Results, results, results_of_flows
from calib.procedures.measure.totals import Outlets, Total, design_of, sums_of
from calib.procedures.on_record.ducts_paired import ducts_paired
from calib.records.record import key
from calib.records.tables.factors import FoundFactor
from calib.records.tables.outlets import Outlet
from calib.records.words import DUCT, REPEAT
from calib.uncertainty.propagation import Contribution
from calib.uncertainty.sharing import common, independent


class TwoWays(StrEnum):
    """What two measurements of one flow are."""

    MAIN = "main and its outlets"
    BY_DIFFERENCE = "by difference"
    BRANCH = "branch and its outlet"
    ROOM = "supply and extract of a room"
    REPEAT = "repeated reading"


# How far the design of a main may lie from that of its outlets together: ducts leak, and designs are rounded (no source).
_LEAKAGE = 0.1

FOUND_THERE = "the outlet's factor was found in this duct, so that the two are not independent"
FOUND_THERE_AND_CARRIED = f"{FOUND_THERE}; what the factor bears of the traverses cancels in U(d)"
TAKEN_AS_MAIN = "the only duct there, taken as the main of all outlets: no design says so"

Ducts = tuple[int, ...]  # by their keys
# duct -> outlet -> factors found in the one for the other, each with the readings in the duct; all by their keys
PairedDucts = Mapping[int, Mapping[int, Mapping[int, Sequence[int]]]]


@dataclass(frozen=True)
class TwoMeasurements:
    """Two measurements of one flow: readings, by their rows in the evaluation, that make the one and the other."""

    kind: TwoWays
    first: tuple[int, ...]
    second: tuple[int, ...]
    not_measured: tuple[Outlet, ...] = ()  # whose flow the difference is
    room: str = ""
    wanted: str = ""  # sign that the design asks of the difference: "positive", "negative"
    taken_alike: bool = False  # with the same instrument, probe and method at the same outlet
    found_in: FoundInDuct | None = None  # whose error the outlet's factor carries; None: nothing that is known
    remark: str = ""


@dataclass(frozen=True)
class CrossCheck:
    """One cross-check: both flows and their difference, each a row of results."""

    compared: TwoMeasurements
    first: tuple[Results, int]
    second: tuple[Results, int]
    difference: tuple[Results, int]

    @property
    def agreement(self) -> Agreement | None:
        """E_n; None of a flow by difference, which nothing else speaks about, and where nothing is uncertain."""
        of_difference, row = self.difference
        expanded = float(of_difference.expanded_uncertainty[row])
        if self.compared.kind is TwoWays.BY_DIFFERENCE or not expanded > 0:
            return None
        return agreement_of_difference(float(of_difference.value[row]), expanded)

    @property
    def agrees(self) -> bool | None:
        """Whether the two agree; None where there is no E_n."""
        judged = self.agreement
        if judged is None:
            return None
        as_wanted = {"positive": 1.0, "negative": -1.0}.get(self.compared.wanted, 0.0) * judged.normalised_error > 0
        return as_wanted or judged.agrees


@dataclass(frozen=True)
class CrossChecks:
    """The cross-checks of a job, and the density at which their flows are compared."""

    checks: tuple[CrossCheck, ...] = ()
    density: float | None = None  # [kg/m3]; None: as measured


def cross_checks_of(session: Session, evaluation: Evaluation) -> CrossChecks:
    """Every cross-check that the readings of a job allow."""
    if evaluation.flows is None:
        return CrossChecks()
    has_ducts = any(outlet.place == DUCT for outlet in evaluation.outlets.values())
    paired = ducts_paired(session, key(evaluation.job.id)) if has_ducts else {}
    compared = list(two_measurements(evaluation, paired))
    if not compared:
        return CrossChecks()
    rows = sorted({row for each in compared for row in (*each.first, *each.second)})
    states = evaluation.compared
    at_density = (
        states is not None and states.density is not None and bool(np.all(np.isfinite(states.air_density[rows])))
    )
    if states is None or not at_density:
        return CrossChecks(tuple(_checked(compared, evaluation.flows, evaluation)))
    return CrossChecks(tuple(_checked(compared, states.of_totals, evaluation)), states.density)


# --- which readings speak about one flow -----------------------------------------------------------------------------------------


def two_measurements(evaluation: Evaluation, paired: PairedDucts) -> Iterator[TwoMeasurements]:
    """What the readings of a job allow to compare, with the pairs on record."""
    yield from _of_mains(evaluation, evaluation.counting, paired)
    yield from _of_branches(evaluation, evaluation.counting, paired)
    yield from _of_rooms(evaluation, evaluation.counting)
    yield from _of_repeats(evaluation)


def mains_of(ducts: Mapping[int, float], whole: float) -> list[Ducts]:
    """Of ducts with their designs those that carry the flow of all outlets, whose design is `whole` [m3/s]; NaN: not known."""

    def is_whole(design: float) -> bool:
        return abs(design - whole) <= _LEAKAGE * whole

    known = [duct for duct, design in ducts.items() if not math.isnan(design)]
    alone: list[Ducts] = [(duct,) for duct in known if is_whole(ducts[duct])]
    if alone:
        return alone
    if is_whole(math.fsum(ducts[duct] for duct in known)):
        return [tuple(known)]
    return [tuple(ducts)] if len(ducts) == 1 and (math.isnan(whole) or not known) else []


def _of_mains(evaluation: Evaluation, counting: Mapping[int, int], paired: PairedDucts) -> Iterator[TwoMeasurements]:
    whole = {(total.system, total.service): total.design for total in evaluation.totals}
    for names, (ducts, outlets) in _ducts_and_outlets(evaluation.outlets, paired).items():
        of_all = whole.get(names, math.nan)
        designs = {duct: design_of(evaluation.outlets[duct]) for duct in ducts}
        missing = tuple(evaluation.outlets[outlet] for outlet in outlets if outlet not in counting)
        second = tuple(counting[outlet] for outlet in outlets if outlet in counting)
        for main in mains_of(designs, of_all):
            if second and all(duct in counting for duct in main):
                is_told = not math.isnan(math.fsum((of_all, *(designs[duct] for duct in main))))
                yield TwoMeasurements(
                    TwoWays.BY_DIFFERENCE if missing else TwoWays.MAIN,
                    tuple(counting[duct] for duct in main),
                    second,
                    missing,
                    remark="" if is_told else TAKEN_AS_MAIN,
                )


def _ducts_and_outlets(outlets: Outlets, paired: PairedDucts) -> dict[tuple[str, str], tuple[list[int], list[int]]]:
    """Of each system and service the ducts that may be its main, and the outlets, less those out of totals unless all are.

    No main is a duct that was paired with an outlet, or that totals count beside outlets: its air is not theirs.
    """
    lots: dict[tuple[str, str], tuple[list[int], list[int]]] = defaultdict(lambda: ([], []))
    for outlet_id, outlet in outlets.items():
        if outlet_id not in paired:
            lots[outlet.system, outlet.service][outlet.place != DUCT].append(outlet_id)
    return {names: _candidates(outlets, ducts, faces) for names, (ducts, faces) in lots.items()}


def _candidates(outlets: Outlets, ducts: list[int], faces: list[int]) -> tuple[list[int], list[int]]:
    counted = [face for face in faces if outlets[face].in_totals != "no"]
    return [duct for duct in ducts if not (counted and outlets[duct].in_totals == "yes")], counted or faces


def _of_branches(evaluation: Evaluation, counting: Mapping[int, int], paired: PairedDucts) -> Iterator[TwoMeasurements]:
    for duct, outlets in paired.items():
        if len(outlets) == 1 and duct in counting:
            ((outlet, factors),) = outlets.items()
            if outlet in counting:
                yield _branch(evaluation, counting[duct], counting[outlet], factors)


def _branch(evaluation: Evaluation, duct: int, outlet: int, factors: Mapping[int, Sequence[int]]) -> TwoMeasurements:
    branch = TwoMeasurements(TwoWays.BRANCH, (duct,), (outlet,))
    factor = evaluation.measured[outlet].factor
    if factor is None or key(factor.id) not in factors:
        return branch
    found_in = _found_in(evaluation, duct, outlet, factor, factors[key(factor.id)])
    return replace(branch, found_in=found_in, remark=FOUND_THERE if found_in is None else FOUND_THERE_AND_CARRIED)


def _found_in(
    evaluation: Evaluation, duct: int, outlet: int, factor: FoundFactor, readings: Sequence[int]
) -> FoundInDuct | None:
    """The duct as that of the factor; None where a traverse does not stand or was taken otherwise, as one in another duct is.

    With the calibration of the face readings no traverse was taken: of that the difference is in the factor.
    """
    measured = evaluation.measured
    place = {key(each.reading.id): row for row, each in enumerate(measured)}
    rows = [place[reading] for reading in readings if reading in place]
    are_all = factor.degrees_of_freedom is not None and len(rows) == factor.degrees_of_freedom + 1
    alike = all(is_taken_alike(measured[row], measured[duct]) for row in rows)
    if not (are_all and alike) or any(measured[row].calibration.is_that_of(factor.calibration_id) for row in rows):
        return None
    return FoundInDuct(duct, outlet, tuple(rows), factor.relative_reference)


def _of_rooms(evaluation: Evaluation, counting: Mapping[int, int]) -> Iterator[TwoMeasurements]:
    for room in evaluation.of_rooms.totals:
        if room.measured == room.outlets and len(set(room.sign.values())) > 1:
            supply, extract = (_rows(room, counting, sign) for sign in (1.0, -1.0))
            yield TwoMeasurements(TwoWays.ROOM, supply, extract, room=room.room, wanted=room.wanted)


def _rows(room: Total, counting: Mapping[int, int], sign: float) -> tuple[int, ...]:
    return tuple(counting[outlet] for outlet, of_outlet in room.sign.items() if of_outlet == sign)


def _of_repeats(evaluation: Evaluation) -> Iterator[TwoMeasurements]:
    for row, standing in enumerate(evaluation.measured):
        first = first_of_repeat(evaluation.measured, row) if standing.reading.stage == REPEAT else None
        if first is not None:
            alike = is_taken_alike(evaluation.measured[first], standing)
            yield TwoMeasurements(TwoWays.REPEAT, (row,), (first,), taken_alike=alike)


# --- what they say of it ---------------------------------------------------------------------------------------------------------


def _checked(compared: Sequence[TwoMeasurements], flows: Flows, evaluation: Evaluation) -> Iterator[CrossCheck]:
    assert evaluation.flow is not None  # noqa: S101 (readings stand)
    probability = evaluation.flow.coverage_probability
    alone = evaluation.flow if flows is evaluation.flows else results_of_flows(flows, probability)
    alike = replace(flows, contributions=tuple(map(_cancelling, flows.contributions)))
    plain = [each for each in compared if not each.taken_alike and each.found_in is None]
    lots = [(plain, flows), ([each for each in compared if each.taken_alike], alike)]
    lots += [([each], for_their_difference(flows, each.found_in)) for each in compared if each.found_in is not None]
    checked = (check for lot, of_lot in lots if lot for check in _lot_checked(lot, alone, of_lot, probability))
    yield from sorted(checked, key=lambda check: compared.index(check.compared))


_SIDES = attrgetter("first"), attrgetter("second")


def _lot_checked(
    lot: Sequence[TwoMeasurements], alone: Results, flows: Flows, probability: float
) -> Iterator[CrossCheck]:
    of_first, of_second = ([dict.fromkeys(side(each), 1.0) for each in lot] for side in _SIDES)
    differences = [first | dict.fromkeys(second, -1.0) for first, second in zip(of_first, of_second, strict=True)]
    value, combined, _ = sums_of([*of_first, *of_second, *differences], np.arange(flows.flow.size), flows)
    summed = results(value, combined, probability)
    for place, each in enumerate(lot):
        # A flow that is one reading is said with the U of that reading, whose k knows its distributions.
        first, second = (
            (alone, side(each)[0]) if len(side(each)) == 1 else (summed, place + at * len(lot))
            for at, side in enumerate(_SIDES)
        )
        yield CrossCheck(each, first, second, (summed, place + 2 * len(lot)))


def _cancelling(contribution: Contribution) -> Contribution:
    """A contribution whose errors are one for all readings that share its source at all."""
    shares = tuple(
        share if share.rule is independent else replace(share, rule=common, at=None, pool=None)
        for share in contribution.shared
    )
    return replace(contribution, shares=shares)
