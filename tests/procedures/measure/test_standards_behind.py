"""Instruments that were calibrated in house with one standard share what is uncertain of the standard's own calibration.

Sources: JCGM 100:2008, 5.2.2, C.3.6 and F.1.2.3 (correlation by a common standard); the rules of `calib.uncertainty.sharing`. What
is expected is worked out by GTC with an error for each influence: of the standard at each comparison of its certificate, of the
scatter of its curve (degree 0: one direction), of its change since then, and of each in-house certificate by itself. From `calib`
come the numbers that a certificate made in house keeps; those have their own test (test_calibrate_in_house).
"""

import copy
import json
import math
from datetime import date

import numpy as np
import pytest
from GTC import component, ureal

from calib.procedures.calibrate.calibrate_in_house import in_house
from calib.procedures.measure.evaluate import evaluate
from calib.procedures.typed.columns import FILES
from calib.procedures.typed.sheets import TypedRow
from calib.records import database
from tests.command import calib
from tests.folders import HEADERS, NOW, imported, records_of, small_job, write

DAY = "2026-02-20"
FPM = 0.00508  # m/s, by definition of foot and inch
INDICATIONS = (0.6, 2.0, 4.0, 7.5)
HAND = {"VA-1": ("m/s", 1.0), "VA-2": ("fpm", FPM)}
HANDED_ON = {"reference": "reference standard", "scatter": "calibration scatter", "stability": "stability"}
S_AT, S_U = np.array([0.504, 1.999, 7.976]), np.array([0.012, 0.019, 0.052]) / 2  # certificate C-103 of RS-1


def compared_in_house(records, tag, of="RS-1"):
    """Rows of comparisons.csv: a meter that shows 2 % less than the standard, beside it."""
    symbol, factor = HAND[tag]
    rows = [
        TypedRow("bench.csv", place, {
            "tag": tag, "certificate": f"IN-{tag}", "phase": "as-left", "unit": "m/s", "indication_unit": symbol,
            "reference_indication": f"{x:.3f}", "indication": f"{0.98 * x / factor:.2f}",
            "repeatability": f"{0.002 / factor:.4f}", "observations": "6",
        })
        for place, x in enumerate(INDICATIONS, start=2)
    ]  # fmt: skip
    with database.reading(str(records)) as session:
        return [row.cells for row in in_house(session, tag, of, date.fromisoformat(DAY), rows)]


def register():
    """Instruments and the standard's certificate."""
    sheets = small_job()
    kept = {name: sheets[name] for name in ("instruments.csv", "methods.csv", "jobs.csv")}
    kept["instruments.csv"][2]["stability_percent"], kept["instruments.csv"][2]["stability_absolute"] = "0.2", "0.002"
    kept["instruments.csv"][2]["stability_basis"] = "ten years of it"
    for row in kept["instruments.csv"]:
        for column in ("stability_percent", "stability_absolute", "stability_basis"):
            row.setdefault(column, "")
    for name in ("calibrations.csv", "comparisons.csv"):
        kept[name] = [row for row in sheets[name] if row["tag"] == "RS-1"]
    return kept


def readings(*those):
    """(outlet, service, instrument, indication in m/s) each, at openings of 1 m2 whose dimensions are exact."""
    usual = dict.fromkeys(HEADERS["outlets.csv"], "") | {
        "job": "J-1", "system": "AH-1", "shape": "rectangular", "width": "1", "height": "1", "dimension_unit": "m",
        "dimension_limit": "0", "outlet_factor": "1", "outlet_factor_standard_uncertainty": "0",
        "outlet_factor_source": "free opening",
    }  # fmt: skip
    read = dict.fromkeys(HEADERS["readings.csv"], "") | {"job": "J-1", "method": "sweep", "operator": "T. One"}
    outlets = [usual | {"outlet": outlet, "service": service} for outlet, service, *_ in those]
    rows = []
    for place, (outlet, _, tag, x) in enumerate(those):
        symbol, factor = HAND.get(tag, ("m/s", 1.0))
        at = {"outlet": outlet, "instrument": tag, "unit": symbol, "observed_at": f"2026-03-05T09:{10 + place}+01:00"}
        rows.append(read | at | {"indication": f"{x / factor:.3f}"})
    return {"outlets.csv": outlets, "readings.csv": rows}


def made(folder, *those, keep_basis=True, laboratories=("own bench", "own bench")):
    """Records with two meters calibrated in house with RS-1, and readings by them."""
    records = records_of(folder, register())
    usual = dict.fromkeys(HEADERS["calibrations.csv"], "") | {
        "calibrated_on": DAY,
        "accepted_on": DAY,
        "standards": "RS-1",
    }
    calibrations, comparisons = [], []
    for tag, laboratory in zip(HAND, laboratories, strict=True):
        calibrations.append(usual | {"tag": tag, "certificate": f"IN-{tag}", "laboratory": laboratory})
        comparisons += compared_in_house(records, tag)
    columns = [column.name for column in FILES["comparisons.csv"]]
    filled = [{name: row.get(name, "") for name in columns} for row in comparisons]
    if not keep_basis:
        filled = [row | {"basis": "", "standard_indication": ""} for row in filled]
    sheets = {"calibrations.csv": calibrations, "comparisons.csv": filled, **readings(*those)}
    imported(records, write(folder / "more", copy.deepcopy(sheets)))
    return records, comparisons


def as_typed(tag, x):
    """An indication with the digits that were typed, in m/s."""
    factor = HAND.get(tag, ("m/s", 1.0))[1]
    return float(f"{x / factor:.3f}") * factor


def hat(nodes, x):
    """Values of the hat functions at x."""
    return np.array([np.interp(x, nodes, row) for row in np.eye(len(nodes))])


def weights(nodes, u, x):
    """Share of what is borne at x that stands at each node, where the error of u there runs straight between them."""
    worth = hat(nodes, x) * u
    return worth / worth.sum()


class ByGtc:
    """Reference parts of readings by uncertain numbers: an error for each influence, u = 1."""

    def __init__(self, comparisons, laboratories=("own bench", "own bench")):
        self.errors, self.laboratories = {}, dict(zip(HAND, laboratories, strict=True))
        self.certificates = {
            tag: [row for row in comparisons if row["tag"] == tag]
            for tag in dict.fromkeys(row["tag"] for row in comparisons)
        }

    def error(self, *key):
        return self.errors.setdefault(key, ureal(0.0, 1.0))

    def of(self, tag, x):
        """The reference part of a reading as an uncertain number [m/s]."""
        x = as_typed(tag, x)
        if tag == "RS-1":
            whole = float(np.interp(x, S_AT, S_U))
            return sum(
                whole * share * self.error("reference", place) for place, share in enumerate(weights(S_AT, S_U, x))
            )
        rows = self.certificates[tag]
        factor = HAND[tag][1]
        nodes = np.array([float(row["indication"]) * factor for row in rows])
        u = np.array([float(row["expanded_uncertainty"]) / float(row["coverage_factor"]) for row in rows])
        whole, shares = float(np.interp(x, nodes, u)), weights(nodes, u, x)
        total, squares = ureal(0.0, 0.0), 0.0
        for part, name in HANDED_ON.items():
            worth = np.array([fraction(row, name) for row in rows]) * shares
            squares += float(worth.sum()) ** 2
            for row, own in zip(rows, worth, strict=True):
                total = total + whole * own * self.at_standard(part, float(row["standard_indication"]))
        rest = whole * math.sqrt(1 - squares)
        own = u * np.sqrt([1 - sum(fraction(row, name) ** 2 for name in HANDED_ON.values()) for row in rows])
        for place, share in enumerate(weights(nodes, own, x)):
            total = total + rest * share * self.error(self.laboratories[tag], tag, place)
        return total

    def at_standard(self, part, shown):
        """The error of the standard's calibration at one of its indications, u = 1 where its errors are one."""
        if part == "scatter":
            return self.error("scatter")
        limits = S_U if part == "reference" else 0.002 * S_AT + 0.002
        return sum(share * self.error(part, place) for place, share in enumerate(weights(S_AT, limits, shown)))

    def variance(self, terms):
        """Of a sum or difference (sign, reading): each group by its rule, over what it is worth at each comparison.

        Except for the scatter, whose errors are known, never below what errors for each reading would give.
        """
        groups = {}
        for (group, *_), error in self.errors.items():
            groups.setdefault(group, []).append([sign * component(value, error) for sign, value in terms])
        return math.fsum(self._of_group(group, np.array(worth)) for group, worth in groups.items())

    @staticmethod
    def _of_group(group, worth):
        together, floor = worth.sum(axis=1), np.sum(worth.sum(axis=0) ** 2)
        plus, minus = (math.fsum(one for one in together if way * one > 0) for way in (1, -1))
        if group == "scatter":
            return (plus + minus) ** 2
        return max(floor, (plus - minus) ** 2 if group == "stability" else plus**2 + minus**2)


def fraction(row, name):
    """Share of a part in the standard uncertainty of a reference value."""
    parts = {part["name"]: part["standard_uncertainty"] for part in json.loads(row["basis"])["contributions"]}
    return parts.get(name, 0.0) / math.sqrt(sum(one**2 for one in parts.values()))


def reference_lines(records, service):
    """Variance of a total that stands in the line of reference standards; readings of RS-1 have other lines for the rest."""
    with database.reading(str(records)) as session:
        evaluation = evaluate(session, "J-1", NOW)
    total = [one.service for one in evaluation.totals].index(service)
    names = [one.name for one in evaluation.flows.contributions]
    lines = dict(zip(names, evaluation.of_systems.flow.combined.uncertainties[total] ** 2, strict=True))
    return lines["reference standard"], evaluation


def expected(comparisons, laboratories, *terms):
    model = ByGtc(comparisons, laboratories)
    return model.variance([(sign, model.of(tag, x)) for sign, tag, x in terms])


SUPPLIES = (("S-1", "supply", "VA-1", 2.5), ("S-2", "supply", "VA-2", 3.1))
OPPOSED = (("S-1", "supply", "VA-1", 2.5), ("R-1", "return", "VA-2", 2.5))
CASES = {
    "two supplies": ("supply", SUPPLIES, [(1, "VA-1", 2.5), (1, "VA-2", 3.1)]),
    "supply and return": ("net", OPPOSED, [(1, "VA-1", 2.5), (-1, "VA-2", 2.5)]),
    "supply and return far apart": (
        "net",
        (("S-1", "supply", "VA-1", 1.0), ("R-1", "return", "VA-2", 6.0)),
        [(1, "VA-1", 1.0), (-1, "VA-2", 6.0)],
    ),
}


@pytest.mark.parametrize("laboratories", [("own bench", "own bench"), ("own bench", "bench two")])
@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_what_one_standard_hands_on_is_one_error_in_both(tmp_path, case, laboratories):
    service, those, terms = case
    records, comparisons = made(tmp_path, *those, laboratories=laboratories)
    found, evaluation = reference_lines(records, service)
    assert found == pytest.approx(expected(comparisons, laboratories, *terms), rel=1e-9)
    each = evaluation.flow.combined.uncertainties[:, 3]
    assert found > 0.95 * sum(each) ** 2 if service == "supply" else found < sum(each**2)


def test_each_reading_keeps_its_own_uncertainty(tmp_path):
    records, comparisons = made(tmp_path, *SUPPLIES)
    _, evaluation = reference_lines(records, "supply")
    for row, (_, _, tag, x) in enumerate(SUPPLIES):
        rows = [one for one in comparisons if one["tag"] == tag]
        nodes = [float(one["indication"]) * HAND[tag][1] for one in rows]
        u = [float(one["expanded_uncertainty"]) / float(one["coverage_factor"]) for one in rows]
        assert evaluation.flow.combined.uncertainties[row, 3] == pytest.approx(
            np.interp(as_typed(tag, x), nodes, u), rel=1e-9
        )


def test_the_standard_in_use_shares_its_error_with_what_was_calibrated_with_it(tmp_path):
    """All of one sign: the parts of the standard add to those of its own reading, line by line."""
    those = (SUPPLIES[0], ("S-2", "supply", "RS-1", 3.1))
    records, comparisons = made(tmp_path, *those)
    _, evaluation = reference_lines(records, "supply")
    total = [one.service for one in evaluation.totals].index("supply")
    model = ByGtc(comparisons)
    meter = model.of("VA-1", 2.5)
    lines = {one.name: one.parts for one in evaluation.flows.contributions}
    of_group = {
        group: math.fsum(component(meter, error) for (name, *_), error in model.errors.items() if name == group)
        for group in ("reference", "scatter", "stability", "own bench")
    }
    direct = {
        "reference": float(np.interp(3.1, S_AT, S_U)),
        "scatter": abs(lines["calibration scatter"][1, 0]),
        "stability": (0.002 * 3.1 + 0.002) / math.sqrt(3),
        "own bench": 0.0,
    }
    of_meter = {name: np.sum(lines[name][0] ** 2) for name in ("calibration scatter", "stability")}
    others = sum(of_meter.values())
    wanted = others + sum((of_group[group] + direct[group]) ** 2 for group in of_group)
    names = [one.name for one in evaluation.flows.contributions]
    found = evaluation.of_systems.flow.combined.uncertainties[total] ** 2
    mine = [names.index(name) for name in ("reference standard", "calibration scatter", "stability")]
    assert float(np.sum(found[mine])) == pytest.approx(wanted, rel=1e-9)


def test_certificates_that_name_a_standard_and_not_its_part_share_to_an_extent_that_is_not_known(tmp_path):
    """Common for terms of one sign whatever the laboratories are called; unrelated between signs."""
    supply, evaluation = reference_lines(
        made(tmp_path / "supply", *SUPPLIES, keep_basis=False, laboratories=("own bench", "bench two"))[0], "supply"
    )
    assert supply == pytest.approx(sum(evaluation.flow.combined.uncertainties[:, 3]) ** 2, rel=1e-9)
    net, evaluation = reference_lines(made(tmp_path / "net", *OPPOSED, keep_basis=False)[0], "net")
    assert net == pytest.approx(sum(evaluation.flow.combined.uncertainties[:, 3] ** 2), rel=1e-9)


def test_what_asks_for_a_declaration_names_the_standards_behind(tmp_path):
    records, _ = made(tmp_path, *CASES["supply and return far apart"][1])
    document = calib("balance", "J-1", "--json", records=records).document
    (net,) = [one for one in document["totals"] if one["service"] == "net"]
    names = [group["group"] for group in net["sharing_not_known"] if group["contribution"] == "reference standard"]
    assert set(names) == {
        "reference standards of own bench for air velocity",
        "reference standards behind IN-VA-2 of VA-2",
    }
