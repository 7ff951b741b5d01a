"""Which sheets a report's workbook has beside its first one, and their rows."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from calib.faces import drawings
from calib.faces.drawings.style import STATEMENT_LOOKS
from calib.faces.report import workbook_columns as columns
from calib.faces.report.blocks import Layout, Table, unmarked
from calib.faces.report.corrections_and_refusals import NONCONFORMING, RECORDED_SINCE, reviews_under
from calib.faces.report.traverses_and_air import air_named, airs_used
from calib.faces.report.verdict_section import ATTENTION, SYSTEMS
from calib.faces.report.workbook_columns import SheetColumn
from calib.faces.written import Content


@dataclass(frozen=True)
class WorkbookSheet:
    """A sheet with a head and rows."""

    name: str
    holds: str  # in a few words, for the first sheet
    columns: tuple[SheetColumn, ...]
    rows: Sequence[Content]


_Declared = tuple[str, str, tuple[SheetColumn, ...], Sequence[Content]]


def sheets_of(content: Content) -> list[WorkbookSheet]:
    """The sheets of a report, those that would be empty left out."""
    every: tuple[_Declared, ...] = (
        ("Changes", "what differs from the revision before", columns.OF_CHANGES, content.get("changes") or []),
        ("Open reviews", "impact reviews without a disposition", columns.OF_REVIEWS, content["open_reviews"]),
        (NONCONFORMING, "what was found, and what was decided", columns.OF_DECIDED_REVIEWS, reviews_under(NONCONFORMING, content)),
        (RECORDED_SINCE, "what came in after an issue", columns.OF_DECIDED_REVIEWS, reviews_under(RECORDED_SINCE, content)),
        ("Flows", "every flow with its U, k and conformity", columns.OF_FLOWS, content["readings"]),
        ("Readings", "what was observed, with what, by whom, and at what opening", columns.OF_READINGS, content["readings"]),
        ("Totals", "totals of systems, of the job and of rooms", columns.OF_TOTALS, list(_totals(content))),
        *_budgets(content["readings"]),
        ("Budgets of totals", "what influences contribute to totals", columns.OF_LINES_OF_TOTALS, list(_of_totals(content))),
        ("Factors found on site", "each pair of each factor found on site", columns.OF_FOUND_FACTORS, list(_pairs(content))),
        ("Budgets in full", "every input quantity of one flow of each kind", columns.OF_BUDGETS_IN_FULL, list(_in_full(content))),
        ("Decisions", "risks of wrong decisions", columns.OF_DECISIONS, (content["risks"] or {}).get("decisions", [])),
        ("Plant drift", "what readings repeated at the end tell of the plant", columns.OF_DRIFT, content["plant_drift"]),
        ("Cross-checks", "two measurements of one flow, and whether they agree", columns.OF_CROSS_CHECKS, content["cross_checks"]),
        ("All at once", "whether all flows conform at once", columns.OF_JOINT, content["joint_probability"]),
        ("Refused readings", "readings for which no flow is reported, and why", columns.OF_REFUSALS, content["refusals"]),
        ("Not measured", "outlets and ducts that no reading stands of", columns.OF_NOT_MEASURED, content["not_measured"]),
        ("Amendments", "what was corrected, with both values and the reason", columns.OF_AMENDMENTS, list(_amended(content))),
        ("Flows before", "flows that an amendment changed", columns.OF_FLOWS_BEFORE, list(_before(content))),
        ("Conditions", "observed conditions of the air", columns.OF_CONDITIONS, list(_conditions(content))),
        ("Traverses", "velocities at the points of duct traverses", columns.OF_POINTS, list(_points(content))),
        ("Photographs", "photographs kept with outlets and readings", columns.OF_PHOTOGRAPHS, content.get("photographs", [])),
        ("Instruments", "instruments with their calibrations", columns.OF_INSTRUMENTS, content["instruments"]),
        ("Reference standards", "of calibrations made in house", columns.OF_INSTRUMENTS, content["reference_standards"]),
        ("Comparisons", "comparisons of the certificates", columns.OF_COMPARISONS, list(_comparisons(content))),
        ("Curves", "coefficients of the calibration curves", columns.OF_COEFFICIENTS, list(_coefficients(content))),
    )  # fmt: skip
    return [WorkbookSheet(*declared) for declared in every if declared[-1]]


def first_tables(content: Content, layout: Layout) -> dict[str, WorkbookSheet]:
    """Picture and tables of the first page as the first sheet has them, each number in a cell of its own, by their names."""
    summary = content["summary"]
    flows = {each["reading"]: each for each in content["readings"]}
    settled = {
        block.name: [unmarked(row.cells[-1].text) for row in block.rows]
        for block in layout.parts[0]
        if isinstance(block, Table)
    }
    attention = [
        each | {name: flows.get(each["reading"], each).get(name) for name in ("flow", "design")} | {"settled": said}
        for each, said in zip(summary["attention"], settled.get(ATTENTION, ()), strict=False)
    ]
    counts = summary["statements"]
    statements = [{"statement": each, "count": counts[each]} for each in STATEMENT_LOOKS if counts.get(each)]
    totals = [total for total in (*content["totals"], *content["job_totals"]) if total["flow"]]
    return {
        "verdict": WorkbookSheet("verdict", "", columns.OF_STATEMENTS, statements),
        ATTENTION: WorkbookSheet(ATTENTION, "", columns.OF_ATTENTION, attention),
        SYSTEMS: WorkbookSheet(SYSTEMS, "", columns.OF_SYSTEMS, totals),
    }


def _totals(content: Content) -> Iterator[Content]:
    for of, part, whose in (("system", "totals", "system"), ("job", "job_totals", "system"), ("room", "rooms", "room")):
        yield from (total | {"of": of, "whose": total[whose]} for total in content[part])


def _budgets(readings: Sequence[Content]) -> tuple[_Declared, _Declared]:
    rows = [reading | {"by_name": {each["name"]: each for each in reading["contributions"]}} for reading in readings]
    listed = {name for row in rows for name in row["by_name"]}
    limited = {each["name"] for row in rows for each in row["contributions"] if each["degrees_of_freedom"] is not None}
    names = [name for name in drawings.CONTRIBUTIONS if name in listed]
    of_shares = columns.share_columns(names, [name for name in names if name in limited])
    return (
        ("Budgets", "what each influence contributes to the u of each flow", columns.budget_columns(names), rows),
        ("Shares of variance", "the share of each influence in u², and its degrees of freedom", of_shares, rows),
    )


def _of_totals(content: Content) -> Iterator[Content]:
    for total in _totals(content):
        yield from (
            line | {name: total[name] for name in ("of", "whose", "service", "flow")} for line in total["contributions"]
        )


def _pairs(content: Content) -> Iterator[Content]:
    for factor in content["found_factors"]:
        yield from (factor | {"pair": pair} for pair in factor["pairs"])


def _amended(content: Content) -> Iterator[Content]:
    for amendment in content["amendments"]:
        yield from (amendment | change for change in amendment["changes"])


def _before(content: Content) -> Iterator[Content]:
    for amendment in content["amendments"]:
        for each in amendment["flows"]:
            yield from (
                amendment | {"reading": each["reading"], "state": state, "flow": each[state]}
                for state in ("before", "after")
            )


def _conditions(content: Content) -> Iterator[Content]:
    used = {air_named(each): each for each in airs_used(content["readings"])}
    for name, conditions in used.items():
        yield from (each | {"name": name} for each in conditions["observed"])
        density = conditions["density"]
        yield density | {"name": name, "quantity": "density", "observed_at": None, "instrument": None, "source": None}


def _points(content: Content) -> Iterator[Content]:
    for reading in content["readings"]:
        if reading["traverse"] is not None:
            said = {"reading": reading["reading"], "outlet": reading["outlet"]}
            said |= {"rule": reading["traverse"]["rule"], "unit": reading["traverse"]["velocity_unit"]}
            yield from (each | said for each in reading["traverse"]["velocities"])


def _in_full(content: Content) -> Iterator[Content]:
    for budget in content["budgets_in_full"]:
        yield from (each | {"reading": budget["reading"]} for each in budget["quantities"])


def _comparisons(content: Content) -> Iterator[Content]:
    for instrument in (*content["instruments"], *content["reference_standards"]):
        said = {
            "tag": instrument["tag"],
            "certificate": instrument["certificate"],
            "residual_unit": instrument["residual_unit"],
        }
        yield from (each | said for each in instrument["comparisons"])


def _coefficients(content: Content) -> Iterator[Content]:
    for instrument in (*content["instruments"], *content["reference_standards"]):
        curve = instrument["curve"]
        said = curve | {"tag": instrument["tag"], "certificate": instrument["certificate"]}
        known, scatter = dict(zip(curve["coefficient_names"], curve["coefficients"], strict=True)), curve["scatter"]
        # Those of candidates of a higher degree, whose scatter counts too, are 0.
        of_each = zip(scatter["names"], scatter["standard_uncertainties"], scatter["correlations"], strict=True)
        for place, (name, u, correlations) in enumerate(of_each):
            cells = {"coefficient_name": name, "coefficient": known.get(name, 0.0), "uncertainty": u}
            yield said | cells | {"correlations": correlations[:place]}
