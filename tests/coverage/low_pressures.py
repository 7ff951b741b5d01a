"""Worlds in which ducts are traversed with a manometer and a pitot-static tube, some points by the wall next to standing air.

The manometer was compared from 2 Pa on; at three of twelve points the velocity pressure is true between nothing and seven of its
standard uncertainties, so that what was shown may be below zero. What is true of the air is CoolProp's.
"""

from collections import defaultdict

import numpy as np
from CoolProp.HumidAirProp import HAPropsSI

from tests.coverage.worlds import DIMENSION_LIMIT, TOLERANCE, Chance, Sheets, World, typed

COMPARED = (2.0, 5.0, 10.0, 25.0, 60.0)  # Pa
TUBE_COMPARED = (2.0, 5.0, 10.0, 20.0)  # m/s
PRESSURE_STEP, SPEED_STEP = 0.1, 0.01  # that manometer and certificate of the tube show, Pa and m/s
MPE_RELATIVE, MPE_ABSOLUTE = 0.005, 0.1  # of the manometer; Pa
TUBE_LIMIT = 0.003  # of what the tube may have changed by, relative
AT_A_POINT = 0.1  # scatter of what is shown at a point, Pa
TRAVERSE = 0.010  # of the method, relative: each traverse by itself
LINES, POINTS, PASSES, BY_THE_WALL = 3, 4, 2, 3
U_AT_ZERO = 0.14  # about what a pressure near zero is known to, Pa
AIR = (
    ("temperature", 21.0, "degC", 0.3),
    ("barometric pressure", 98.0, "kPa", 0.2),
    ("relative humidity", 45.0, "%", 5.0),
)
PLACES = ("supply", "return")


def draw_traversed(count: int, seed: int) -> tuple[list[World], Sheets]:
    """So many worlds, each with a supply and a return duct, and what was typed of them."""
    chance = np.random.default_rng(seed)
    sheets: Sheets = defaultdict(list)
    sheets["methods.csv"] = [
        {
            "method": "traverse", "basis": "drawn", "pattern": "traverse", "common_standard_uncertainty_percent": "0",
            "own_standard_uncertainty_percent": f"{100 * TRAVERSE:g}", "share_below_interval_percent": "30",
        }
    ]  # fmt: skip
    return [_world(number, chance, sheets) for number in range(count)], dict(sheets)


def _world(number: int, chance: Chance, sheets: Sheets) -> World:
    world = World(f"J-{number}")
    gain, offset = chance.normal(1, 0.005), chance.normal(0, 0.1)
    share, tube_drift = chance.uniform(-1, 1), chance.uniform(-1, 1) * TUBE_LIMIT
    _register(number, sheets)
    _certify(f"DM-{number}", COMPARED, 0.1, 0.004, PRESSURE_STEP, "Pa", lambda p: p * gain + offset, chance, sheets)
    coefficient = chance.normal(1, 0.008)  # true speed over what a coefficient of 1 would give
    _certify(f"PT-{number}", TUBE_COMPARED, 0.01, 0.01, SPEED_STEP, "m/s", lambda v: v / coefficient, chance, sheets)
    sheets["jobs.csv"].append({"job": world.job, "decision_rule": "simple"})
    density = _air(world, chance, sheets)
    for hour, service in enumerate(PLACES, start=9):
        pressures = chance.uniform(8.0, 16.0) * chance.uniform(0.8, 1.2, LINES * POINTS)
        by_the_wall = chance.choice(LINES * POINTS, BY_THE_WALL, replace=False)
        pressures[by_the_wall] = chance.uniform(0.0, 7.0 * U_AT_ZERO, BY_THE_WALL)
        speeds = coefficient * (1 + tube_drift) * np.sqrt(2 * pressures / density)
        sides = np.array([100.0 * chance.integers(3, 6), 50.0 * chance.integers(4, 7)])
        area = np.prod(sides + chance.uniform(-DIMENSION_LIMIT, DIMENSION_LIMIT, 2)) * 1e-6  # m2
        world.flows[service] = speeds.mean() * area * (1 + chance.normal(0, TRAVERSE))
        world.designs[service] = float(f"{world.flows[service] / chance.uniform(0.8, 1.2):.4g}")
        _duct(world, service, sides, sheets)
        names = {
            "job": world.job, "outlet": service, "instrument": f"DM-{number}",
            "observed_at": f"2026-03-05T{hour:02}:00:00+00:00",
        }  # fmt: skip
        sheets["readings.csv"].append(
            names | {
                "unit": "Pa", "method": "traverse", "operator": "D. Rawn", "probe": f"PT-{number}", "conditions": "site",
                "traverse_rule": "equal-area", "traverse_lines": str(LINES), "traverse_points": str(POINTS),
            }
        )  # fmt: skip
        for place, pressure in enumerate(pressures):
            shown = pressure * gain + offset
            shown += share * (MPE_RELATIVE * shown + MPE_ABSOLUTE)
            passes = (typed(shown + chance.normal(0, AT_A_POINT), PRESSURE_STEP) for _ in range(PASSES))
            at = {"line": str(1 + place // POINTS), "point": str(1 + place % POINTS)}
            sheets["traverses.csv"].append(names | at | {"indications": ";".join(passes)})
    return world


def _register(number: int, sheets: Sheets) -> None:
    for tag, kind, quantity, low, high, unit, step, percent, absolute, repeatability in (
        (f"DM-{number}", "micromanometer", "pressure", -10, 500, "Pa", PRESSURE_STEP, 100 * MPE_RELATIVE, MPE_ABSOLUTE, AT_A_POINT),
        (f"PT-{number}", "pitot-static tube", "air velocity", 1, 40, "m/s", SPEED_STEP, 100 * TUBE_LIMIT, 0, SPEED_STEP),
    ):  # fmt: skip
        sheets["instruments.csv"].append(
            {
                "tag": tag, "kind": kind, "maker": "Drawn", "model": "D", "serial": tag, "quantity": quantity,
                "range_low": f"{low:g}", "range_high": f"{high:g}", "unit": unit, "resolution": f"{step:g}",
                "mpe_percent": f"{percent:g}", "mpe_absolute": f"{absolute:g}", "interval_months": "12",
                "location": "drawn", "repeatability": f"{repeatability:g}",
            }
        )  # fmt: skip


def _certify(
    tag: str, references: tuple[float, ...], least: float, relative: float, step: float, unit: str, shows, chance: Chance,
    sheets: Sheets,
) -> None:  # fmt: skip
    """A certificate whose U is `least` and a share of the reference value; each comparison is the mean of five."""
    sheets["calibrations.csv"].append(
        {
            "tag": tag, "certificate": f"C-{tag}", "laboratory": f"Drawn Laboratory of {tag[:2]}",
            "calibrated_on": "2026-01-12", "accepted_on": "2026-01-19",
        }
    )  # fmt: skip
    off = chance.normal()
    for reference in references:
        u = (least + relative * reference) / 2
        shown = shows(reference + off * u) + chance.normal(0, step / np.sqrt(5))
        sheets["comparisons.csv"].append(
            {
                "tag": tag, "certificate": f"C-{tag}", "phase": "as-found", "reference": f"{reference:g}",
                "indication": typed(shown, step / 10), "unit": unit, "expanded_uncertainty": f"{2 * u:.4f}", "coverage_factor": "2",
                "repeatability": f"{step:g}", "observations": "5",
            }
        )  # fmt: skip


def _air(world: World, chance: Chance, sheets: Sheets) -> float:
    """What was observed of the air, and its true density [kg/m3]."""
    true = {}
    for quantity, value, unit, u in AIR:
        true[quantity] = chance.normal(value, u)
        sheets["conditions.csv"].append(
            {
                "job": world.job, "conditions": "site", "observed_at": "2026-03-05T08:30:00+00:00", "quantity": quantity,
                "value": f"{value:g}", "unit": unit, "standard_uncertainty": f"{u:g}", "source": "drawn",
            }
        )  # fmt: skip
    temperature, pressure, humidity = true.values()
    volume = HAPropsSI(
        "Vha", "T", 273.15 + temperature, "P", 1000 * pressure, "R", humidity / 100
    )  # of moist air, m3/kg
    return float(1 / volume)


def _duct(world: World, service: str, sides: np.ndarray, sheets: Sheets) -> None:
    width, height = sides
    sheets["outlets.csv"].append(
        {
            "job": world.job, "outlet": service, "system": "AH", "service": service, "place": "duct", "shape": "rectangular",
            "width": f"{width:g}", "height": f"{height:g}", "dimension_unit": "mm", "dimension_limit": f"{DIMENSION_LIMIT:g}",
            "design_flow": f"{world.designs[service]:.6f}", "flow_unit": "m3/s", "tolerance_percent": f"{100 * TOLERANCE:g}",
        }
    )  # fmt: skip
