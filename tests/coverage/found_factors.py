"""Worlds in which a factor is found in the field: a duct that feeds one grille is traversed, the grille's face swept beside.

The factor is found from four pairs and put into the outlet's record; then one more sweep of the face gives its flow. What is true
of the duct was drawn, and all of it leaves by the grille.
"""

from collections import defaultdict

import numpy as np

from calib.procedures.enter.amend_outlet import amend_outlet
from calib.procedures.factors.find_factor import find_factor
from calib.procedures.pairs.factor_from_pairs import FactorWanted
from tests.coverage.worlds import (
    AT_AN_OUTLET,
    DIMENSION_LIMIT,
    OWN,
    SAME_METER,
    Assumption,
    Chance,
    Sheets,
    World,
    calibrated_meter,
    typed,
)
from tests.folders import SIGNED

TRAVERSE = 0.010  # of the method of traversing, relative: one error for a world
PAIRS = 4
LINES, POINTS = 2, 3
DUCT, GRILLE = "duct", "grille"
READINGS = 2 * PAIRS + 1  # of a world


def draw_with_ducts(assumption: Assumption, count: int, seed: int) -> tuple[list[World], Sheets]:
    """So many worlds, and what was typed before their factors were found."""
    chance = np.random.default_rng(seed)
    sheets: Sheets = defaultdict(list)
    figures = {
        "common_standard_uncertainty_percent": "",
        "own_standard_uncertainty_percent": "",
        "relative_standard_uncertainty_percent": "",
    }
    sheets["methods.csv"] = [
        {"method": "sweep", "basis": "drawn", "pattern": "sweep"} | figures
        | {"common_standard_uncertainty_percent": "2", "own_standard_uncertainty_percent": f"{100 * OWN:g}"},
        {"method": "traverse", "basis": "drawn", "pattern": "traverse"} | figures
        | {"relative_standard_uncertainty_percent": f"{100 * TRAVERSE:g}"},
    ]  # fmt: skip
    return [_world(assumption, number, chance, sheets) for number in range(count)], dict(sheets)


def find_factors(session, worlds: list[World]) -> None:
    """Find the factor of each world from its pairs, and put it into the record of its grille."""
    for place, world in enumerate(worlds):
        first = place * READINGS + 1  # readings have their numbers in the order in which they were typed
        pairs = [f"{first + pair}:{first + PAIRS + pair}" for pair in range(PAIRS)]
        name = f"F-{world.job}"
        find_factor(session, FactorWanted(name, pairs, "outlet", None, "the duct feeds this grille alone"), SIGNED)
        blank = ("outlet_factor=", "outlet_factor_standard_uncertainty=", "outlet_factor_source=")
        amend_outlet(session, world.job, GRILLE, [*blank, f"found_factor={name}"], "found in the field", SIGNED)


def _world(assumption: Assumption, number: int, chance: Chance, sheets: Sheets) -> World:
    world = World(f"J-{number}")
    tags = (f"VA-{number}", f"VA-{number}" if assumption.factor_by == SAME_METER else f"VB-{number}")
    meters = {tag: calibrated_meter(assumption, tag, chance, sheets) for tag in dict.fromkeys(tags)}
    at_face, in_duct = (meters[tag] for tag in tags)
    sheets["jobs.csv"].append({"job": world.job, "decision_rule": "simple"})
    (duct_typed, duct), (face_typed, face) = (_opening(chance) for _ in range(2))
    velocity = chance.uniform(3.0, 6.0) * min(1.0, face / duct)  # within what was compared, at the face too
    factor = chance.normal(0.84, 0.04)
    flow = velocity * duct * (1 + chance.normal(0, TRAVERSE))
    world.flows[GRILLE], world.designs[GRILLE] = flow, flow
    _outlets(world, duct_typed, face_typed, sheets)
    for pair in range(PAIRS):
        _traverse(world, tags[1], pair, velocity, in_duct, chance, sheets)
    for pair in range(PAIRS + 1):
        shown = at_face(flow / (face * factor) / (1 + chance.normal(0, OWN)))
        sweep = _reading(world, GRILLE, tags[0], f"{9 + pair:02}:30", "sweep")
        passes = (typed(shown + chance.normal(0, AT_AN_OUTLET)) for _ in range(assumption.passes))
        sheets["readings.csv"].append(sweep | {"observations": ";".join(passes)})
    return world


def _opening(chance: Chance) -> tuple[tuple[float, float], float]:
    """Width and height as they are typed [mm], and the area that is true [m2]."""
    sides = np.array([100.0 * chance.integers(3, 6), 50.0 * chance.integers(4, 7)])
    return (sides[0], sides[1]), float(np.prod(sides + chance.uniform(-DIMENSION_LIMIT, DIMENSION_LIMIT, 2)) * 1e-6)


def _outlets(world: World, duct: tuple[float, float], face: tuple[float, float], sheets: Sheets) -> None:
    for name, place, (width, height) in ((DUCT, "duct", duct), (GRILLE, "", face)):
        of_table = name == GRILLE
        sheets["outlets.csv"].append(
            {
                "job": world.job, "outlet": name, "system": "AH", "service": "supply", "place": place, "shape": "rectangular",
                "width": f"{width:g}", "height": f"{height:g}", "dimension_unit": "mm", "dimension_limit": f"{DIMENSION_LIMIT:g}",
                "outlet_factor": "0.85" if of_table else "", "outlet_factor_standard_uncertainty": "0.04" if of_table else "",
                "outlet_factor_source": "data sheet" if of_table else "", "design_flow": f"{world.designs[GRILLE]:.6f}",
                "flow_unit": "m3/s", "tolerance_percent": "10",
            }
        )  # fmt: skip


def _traverse(world: World, tag: str, pair: int, velocity: float, shows, chance: Chance, sheets: Sheets) -> None:
    at = f"{9 + pair:02}:00"
    counts = {"traverse_rule": "equal-area", "traverse_lines": str(LINES), "traverse_points": str(POINTS)}
    sheets["readings.csv"].append(_reading(world, DUCT, tag, at, "traverse") | counts)
    profile = np.array([0.98, 1.04, 0.98] * LINES)
    for place, of_mean in enumerate(profile / profile.mean()):
        sheets["traverses.csv"].append(
            {
                "job": world.job, "outlet": DUCT, "instrument": tag, "observed_at": f"2026-03-05T{at}:00+00:00",
                "line": str(1 + place // POINTS), "point": str(1 + place % POINTS),
                "indications": typed(shows(velocity * of_mean) + chance.normal(0, AT_AN_OUTLET)),
            }
        )  # fmt: skip


def _reading(world: World, outlet: str, tag: str, at: str, method: str) -> dict[str, str]:
    blank = dict.fromkeys(("observations", "traverse_rule", "traverse_lines", "traverse_points"), "")
    return blank | {
        "job": world.job, "outlet": outlet, "instrument": tag, "observed_at": f"2026-03-05T{at}:00+00:00", "unit": "m/s",
        "method": method, "operator": "D. Rawn",
    }  # fmt: skip
