"""How often U covers what is true: worlds pass through the program's import and evaluation, and the true flows are counted.

A world's results share errors, so that shares are those of worlds: a share and its standard error are the mean and the standard
error of the mean over worlds (GUM 4.2.3).
"""

import tempfile
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from calib.procedures.measure.evaluate import evaluate
from calib.records import database
from tests.coverage.found_factors import GRILLE, draw_with_ducts, find_factors
from tests.coverage.low_pressures import draw_traversed
from tests.coverage.worlds import Assumption, Logs, Sheets, World, draw
from tests.folders import NOW, imported, new_records, write

AT_ONCE = 500  # worlds that one company types
FOUND = "flows by found factors"
KINDS = ("readings", "totals", "nets", "rooms", FOUND)


@dataclass(frozen=True)
class Counted:
    """What was counted of worlds drawn under one assumption."""

    covered: dict[str, list[float]]  # by kind of result: in each world, the share that lies within U
    passes: list[int]  # in each world
    wrong_passes: list[int]  # of these: the true flow does not conform
    risks: list[float]  # sum over its passes of the probability of that, as it is printed

    def share(self, kind: str) -> float:
        """Share of the results of a kind that lie within U [1]."""
        return float(np.mean(self.covered[kind]))

    def error(self, kind: str) -> float:
        """Standard error of that share [1]."""
        return float(np.std(self.covered[kind], ddof=1) / np.sqrt(len(self.covered[kind])))

    @property
    def wrong(self) -> float:
        """Share of the passes that are wrong [1]."""
        return sum(self.wrong_passes) / sum(self.passes)

    @property
    def wrong_error(self) -> float:
        """Standard error of what that share exceeds the printed risks by, a ratio of sums over worlds [1]."""
        beyond = np.array(self.wrong_passes) - np.array(self.risks)
        about = beyond - np.array(self.passes) * (self.wrong - self.printed_risk)
        return float(np.sqrt(np.sum(about**2)) / sum(self.passes))

    @property
    def printed_risk(self) -> float:
        """What the answers say that this share is [1]."""
        return sum(self.risks) / sum(self.passes)

    def __add__(self, other: "Counted") -> "Counted":
        covered = {kind: shares + other.covered[kind] for kind, shares in self.covered.items()}
        return Counted(
            covered, self.passes + other.passes, self.wrong_passes + other.wrong_passes, self.risks + other.risks
        )


def counted(assumption: Assumption, count: int, seed: int, scale: float = 1.0) -> Counted:
    """Draw worlds, at most AT_ONCE, and count; with a scale, how often so much of U covers."""
    covered: dict[str, list[float]] = defaultdict(list)
    passes: list[int] = []
    wrong: list[int] = []
    risks: list[float] = []
    worlds, sheets, logs = _drawn(assumption, count, seed)
    with tempfile.TemporaryDirectory() as folder:
        records = new_records(Path(folder) / "records.sqlite")
        typed = write(Path(folder) / "typed", sheets)
        for name, content in logs.items():
            (typed / name).write_bytes(content)
        imported(records, typed)
        if assumption.factor_by:
            with database.writing(str(records)) as session:
                find_factors(session, worlds)
        with database.reading(str(records)) as session:
            for world in worlds:
                evaluation = evaluate(session, world.job, NOW)
                if not evaluation.measured:  # the gate refused them all
                    continue
                if assumption.factor_by:
                    covered[FOUND].append(_last_within(evaluation, world, scale))
                    continue
                for kind, within in _within(evaluation, world, scale).items():
                    covered[kind].append(float(np.mean(within)))
                passed = np.char.startswith(evaluation.judgement.statement, "pass")
                names = [reading.outlet.outlet for reading in evaluation.measured]
                passes.append(int(passed.sum()))
                wrong.append(
                    sum(not world.conforms(name) for name, is_pass in zip(names, passed, strict=True) if is_pass)
                )
                risks.append(float(evaluation.judgement.consumer_risk[passed].sum()))
    return Counted(covered, passes, wrong, risks)


def _drawn(assumption: Assumption, count: int, seed: int) -> tuple[list[World], Sheets, Logs]:
    if assumption.traversed:
        return (*draw_traversed(count, seed), {})
    return (*draw_with_ducts(assumption, count, seed), {}) if assumption.factor_by else draw(assumption, count, seed)


def _last_within(evaluation, world: World, scale: float) -> float:
    """Whether the flow of the last sweep of the grille, by the factor that was found, lies within U: 1 or 0."""
    (row,) = (
        row
        for row, reading in enumerate(evaluation.measured)
        if reading.outlet.outlet == GRILLE and evaluation.latest[row]
    )
    off = abs(evaluation.flow.value[row] - world.flows[GRILLE])
    return float(off <= scale * evaluation.flow.expanded_uncertainty[row])


def _within(evaluation, world: World, scale: float) -> dict[str, list[bool]]:
    """Of each kind of result, whether each lies within its U of what is true."""
    within = defaultdict(list)
    flow = evaluation.flow
    for reading, value, u in zip(evaluation.measured, flow.value, flow.expanded_uncertainty, strict=True):
        within["readings"].append(abs(value - world.flows[reading.outlet.outlet]) <= scale * u)
    for kind, of in (("totals", evaluation.of_systems), ("rooms", evaluation.of_rooms)):
        if of.flow is None:  # there is none
            continue
        for total, value, u in zip(of.totals, of.flow.value, of.flow.expanded_uncertainty, strict=True):
            if total.measured < total.outlets:  # the gate refused a reading of it
                continue
            is_within = abs(value - world.total(total.service, total.room)) <= scale * u
            within["nets" if kind == "totals" and total.service == "net" else kind].append(is_within)
    return within
