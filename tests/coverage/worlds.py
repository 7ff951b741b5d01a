"""Whole worlds drawn by chance: what is true, and what somebody would then type.

In each world a laboratory's reference is off, a vane anemometer errs and has drifted since, tables of outlet factors are off, a
method is biased, openings are cut a little wide; readings repeat themselves badly, and everything is typed with its rounding. The
errors are drawn as the model takes them (`calib help numbers`), or otherwise where the name of an assumption says so. Nothing here
is computed by `calib`: a true flow is known because it was drawn.
"""

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from CoolProp.HumidAirProp import HAPropsSI

Chance = np.random.Generator
Sheets = dict[str, list[dict[str, str]]]
Logs = dict[str, bytes]

REFERENCES = (0.60, 1.20, 2.50, 4.00, 6.00, 9.00, 14.00)  # m/s
REPEATABILITY = 0.015  # of the meter at a laboratory, m/s
AT_A_COMPARISON = 6  # readings
AT_AN_OUTLET = 0.04  # scatter of the passes over an outlet, m/s
IN_A_LOG = 0.15  # scatter of a log's values, m/s
STEP = 0.01  # that the meter shows, m/s
MPE_RELATIVE, MPE_ABSOLUTE = 0.01, 0.03  # of what it shows; m/s
DIMENSION_LIMIT = 1.0  # mm
FACTORS = {"supply": (0.84, 0.017, "traverses at grille G"), "return": (0.91, 0.020, "traverses at grille R")}
COMMON, OWN, SINGLE = 0.020, 0.015, 0.025  # of the method, relative
SAME_METER, ANOTHER_METER = "the same meter", "another meter"
BOTH_FIGURES, SINGLE_FIGURE = "both figures", "single figure"
TOLERANCE = 0.10
DENSITY = 1.2  # that a job states for its totals, kg/m3
AIR = {"supply": (14.0, 18.0), "return": (20.0, 26.0)}  # declared range of temperature, degC
PRESSURE, U_PRESSURE = 97.8, 0.4  # as stated, kPa
OPENINGS = (*[("supply", "hall")] * 3, ("supply", "office"), *[("return", "hall")] * 2, ("return", "office"))


@dataclass(frozen=True)
class Assumption:
    """How worlds are drawn, and what is declared of them."""

    name: str
    holds: bool  # what is declared is how it is drawn: then U covers what it says
    draw_bias: Callable[[Chance], dict[str, float]]  # of the method, by service: what its readings share, relative
    own: float  # standard deviation of what each reading by the method has for itself, relative
    draw_drift: Callable[[Chance], Callable[[float], float]]  # since the calibration: at an indication [m/s]
    method: str = BOTH_FIGURES
    passes: int = 3
    states_repeatability: bool = True  # the certificate does
    factor_by: str = ""  # the outlet factor is found in the field, with the same meter for duct and face, or another
    velocities: tuple[float, float] = (1.0, 8.0)  # over a face, as a meter without error would show them [m/s]
    traversed: bool = False  # ducts, with a manometer and a tube, some points next to standing air
    logged: tuple[int, float] | None = None  # values of a log each second, and the correlation of neighbours
    declares_air: bool = (
        False  # nobody observed the temperatures: ranges are declared, and totals are masses at a density
    )


@dataclass
class World:
    """What is true of one job: flow of each opening, and what its design asks [m3/s]."""

    job: str
    flows: dict[str, float] = field(default_factory=dict)
    designs: dict[str, float] = field(default_factory=dict)
    densities: dict[str, float] = field(
        default_factory=dict
    )  # of the air of each service over that of the job; none: 1

    def total(self, service: str, room: str = "") -> float:
        """Sum of the true flows of a service; of `net` the supply less the return [m3/s at the density of the job]."""
        return sum(
            flow
            * self.densities.get(name.split()[0], 1.0)
            * (-1.0 if service == "net" and name.startswith("return") else 1.0)
            for name, flow in self.flows.items()
            if (service == "net" or name.startswith(service)) and name.endswith(room)
        )

    def conforms(self, name: str) -> bool:
        """Whether the true flow of an opening lies within the tolerance of its design."""
        return abs(self.flows[name] / self.designs[name] - 1) <= TOLERANCE


def same_share_of_the_limit(chance: Chance) -> Callable[[float], float]:
    """A drift within the maximum permissible error: the same share of it, with its sign, at every velocity."""
    share = chance.uniform(-1, 1)
    return lambda x: share * (MPE_RELATIVE * x + MPE_ABSOLUTE)


def offset_and_opposite_gain(chance: Chance) -> Callable[[float], float]:
    """A drift that turns about the middle of the range: too high where another is too low."""
    share = chance.uniform(-1, 1)
    return lambda x: share * (MPE_RELATIVE * x + MPE_ABSOLUTE) * np.clip((x - 4.0) / 2.0, -1, 1)


def one_for_each_service(sd: float) -> Callable[[Chance], dict[str, float]]:
    """A bias of the method for supply and another for return."""
    return lambda chance: {service: chance.normal(0, sd) for service in FACTORS}


def one_for_all(sd: float) -> Callable[[Chance], dict[str, float]]:
    """One bias of the method, the same for supply and return."""
    return lambda chance: dict.fromkeys(FACTORS, chance.normal(0, sd))


def opposed(sd: float) -> Callable[[Chance], dict[str, float]]:
    """A bias of the method for supply, and just the opposite for return."""

    def draw(chance: Chance) -> dict[str, float]:
        bias = chance.normal(0, sd)
        return {"supply": bias, "return": -bias}

    return draw


def typed(value: float, step: float = STEP) -> str:
    """A number as a display with a step shows it."""
    return f"{round(value / step) * step:.{max(0, round(-np.log10(step)))}f}"


def draw(assumption: Assumption, count: int, seed: int) -> tuple[list[World], Sheets, Logs]:
    """So many worlds, the sheets that one company would have typed of all of them, and the logs beside these."""
    chance = np.random.default_rng(seed)
    sheets: Sheets = defaultdict(list)
    sheets["methods.csv"] = _methods()
    logs: Logs = {}
    return [_world(assumption, number, chance, sheets, logs) for number in range(count)], dict(sheets), logs


def _methods() -> list[dict[str, str]]:
    cells = {
        BOTH_FIGURES: {"common_standard_uncertainty_percent": COMMON, "own_standard_uncertainty_percent": OWN},
        SINGLE_FIGURE: {"relative_standard_uncertainty_percent": SINGLE},
    }
    columns = sorted({column for figures in cells.values() for column in figures})
    return [
        {"method": name, "basis": "drawn"}
        | {column: f"{100 * figures[column]:g}" if column in figures else "" for column in columns}
        for name, figures in cells.items()
    ]


def _world(assumption: Assumption, number: int, chance: Chance, sheets: Sheets, logs: Logs) -> World:
    world, tag = World(f"J-{number}"), f"VA-{number}"
    shows = calibrated_meter(assumption, tag, chance, sheets)
    _measure(assumption, world, tag, shows, chance, sheets, logs)
    return world


def calibrated_meter(assumption: Assumption, tag: str, chance: Chance, sheets: Sheets) -> Callable[[float], float]:
    """Register a meter with its certificate; what it shows now of a velocity [m/s]."""
    gain, offset = chance.normal(1, 0.02), chance.normal(0, 0.03)
    drift = assumption.draw_drift(chance)
    _certify(assumption, tag, lambda velocity: velocity * gain + offset, chance, sheets)

    def shows(velocity: float) -> float:
        x = velocity * gain + offset
        return x + drift(x)

    return shows


def _certify(assumption: Assumption, tag: str, shows: Callable[[float], float], chance: Chance, sheets: Sheets) -> None:
    sheets["instruments.csv"].append(
        {
            "tag": tag, "kind": "vane anemometer", "maker": "Drawn", "model": "D", "serial": tag, "quantity": "air velocity",
            "range_low": "0.3", "range_high": "20", "unit": "m/s", "resolution": f"{STEP:g}",
            "mpe_percent": f"{100 * MPE_RELATIVE:g}", "mpe_absolute": f"{MPE_ABSOLUTE:g}", "interval_months": "12",
            "location": "drawn", "repeatability": f"{AT_AN_OUTLET:g}",
        }
    )  # fmt: skip
    sheets["calibrations.csv"].append(
        {
            "tag": tag, "certificate": f"C-{tag}", "laboratory": "Drawn Laboratory", "calibrated_on": "2026-01-12",
            "accepted_on": "2026-01-19",
        }
    )  # fmt: skip
    off = chance.normal()  # what the reference is off, in its own standard uncertainties: the same at each comparison
    for reference in REFERENCES:
        u = (0.015 + 0.008 * reference) / 2
        shown = shows(reference + off * u) + chance.normal(0, REPEATABILITY / np.sqrt(AT_A_COMPARISON))
        sheets["comparisons.csv"].append(
            {
                "tag": tag, "certificate": f"C-{tag}", "phase": "as-found", "reference": f"{reference:.2f}",
                "indication": typed(shown), "unit": "m/s", "expanded_uncertainty": f"{2 * u:.4f}", "coverage_factor": "2",
                "repeatability": f"{REPEATABILITY:g}" if assumption.states_repeatability else "",
                "observations": str(AT_A_COMPARISON) if assumption.states_repeatability else "",
            }
        )  # fmt: skip


def _measure(
    assumption: Assumption,
    world: World,
    tag: str,
    shows: Callable[[float], float],
    chance: Chance,
    sheets: Sheets,
    logs: Logs,
) -> None:
    sheets["jobs.csv"].append({"job": world.job, "decision_rule": "simple"})
    if assumption.declares_air:
        _declare_air(world, chance, sheets)
    bias = assumption.draw_bias(chance)
    factors = {service: chance.normal(value, u) for service, (value, u, _) in FACTORS.items()}
    for place, (service, room) in enumerate(OPENINGS):
        name = f"{service} {place} {room}"
        width, height = 100.0 * chance.integers(2, 6), 50.0 * chance.integers(2, 6)  # mm
        area = np.prod(np.array((width, height)) + chance.uniform(-DIMENSION_LIMIT, DIMENSION_LIMIT, 2)) * 1e-6  # m2
        velocity = chance.uniform(*assumption.velocities)
        relative = 1 + bias[service] + chance.normal(0, assumption.own)
        world.flows[name] = velocity * area * factors[service] * relative
        world.designs[name] = float(f"{world.flows[name] / chance.uniform(0.8, 1.2):.4g}")
        factor, u, source = FACTORS[service]
        sheets["outlets.csv"].append(
            {
                "job": world.job, "outlet": name, "system": "AH", "service": service, "room": room, "shape": "rectangular",
                "width": f"{width:g}", "height": f"{height:g}", "dimension_unit": "mm", "dimension_limit": f"{DIMENSION_LIMIT:g}",
                "outlet_factor": f"{factor:g}", "outlet_factor_standard_uncertainty": f"{u:g}", "outlet_factor_source": source,
                "design_flow": f"{world.designs[name]:.6f}", "flow_unit": "m3/s", "tolerance_percent": f"{100 * TOLERANCE:g}",
            }
        )  # fmt: skip
        cells = {
            "job": world.job, "outlet": name, "instrument": tag, "observed_at": f"2026-03-05T{9 + place:02}:00+00:00",
            "unit": "m/s", "method": assumption.method, "operator": "D. Rawn",
        }  # fmt: skip
        if assumption.logged is None:
            passes = [typed(shows(velocity) + chance.normal(0, AT_AN_OUTLET)) for _ in range(assumption.passes)]
            cells["observations"] = ";".join(passes)
        else:
            cells["log_file"] = f"{world.job}-{place}.csv"
            logs[cells["log_file"]] = _log(shows(velocity), *assumption.logged, chance)
        sheets["readings.csv"].append(cells)


def _declare_air(world: World, chance: Chance, sheets: Sheets) -> None:
    """Ranges of temperature and a stated pressure; what is true of the air is drawn within them, of any humidity (CoolProp)."""
    sheets["jobs.csv"][-1]["density_kg_per_m3"] = f"{DENSITY:g}"
    pressure = 1000 * chance.normal(PRESSURE, U_PRESSURE)  # Pa
    sheets["conditions.csv"].append(
        {
            "job": world.job, "conditions": "site", "observed_at": "2026-03-05T08:30:00+00:00", "quantity": "barometric pressure",
            "value": f"{PRESSURE:g}", "unit": "kPa", "standard_uncertainty": f"{U_PRESSURE:g}", "source": "drawn",
        }
    )  # fmt: skip
    for service, (low, high) in AIR.items():
        sheets["air.csv"].append(
            {
                "job": world.job, "service": service, "temperature_low_degC": f"{low:g}", "temperature_high_degC": f"{high:g}",
                "basis": "drawn",
            }
        )  # fmt: skip
        temperature, humidity = 273.15 + chance.uniform(low, high), chance.uniform(0, 1)
        world.densities[service] = 1 / HAPropsSI("Vha", "T", temperature, "P", pressure, "R", humidity) / DENSITY


def _log(mean: float, count: int, correlation: float, chance: Chance) -> bytes:
    """A log of a flow that remembers itself: each second's deviation is a share of the last one's, and something new."""
    deviation, lines = chance.normal(0, IN_A_LOG), ["time,value"]
    for second in range(count):
        lines.append(f"{second},{typed(mean + deviation)}")
        deviation = correlation * deviation + chance.normal(0, IN_A_LOG * np.sqrt(1 - correlation**2))
    return "\n".join(lines).encode()
