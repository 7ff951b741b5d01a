"""Which sheets a report's workbook has beside its first one, and their rows."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from calib.faces import drawings
from calib.faces.report import sheet_columns as columns
from calib.faces.report.sheet_columns import SheetColumn
from calib.faces.written import Content


@dataclass(frozen=True)
class Sheet:
    """A sheet with a head and rows."""

    name: str
    holds: str  # in a few words, for the first sheet
    columns: tuple[SheetColumn, ...]
    rows: Sequence[Content]


def sheets_of(content: Content) -> list[Sheet]:
    """The sheets of a report, those that would be empty left out."""
    every = (
        Sheet("Changes", "what differs from the revision before", columns.CHANGES, content.get("changes") or []),
        Sheet("Open reviews", "impact reviews without a disposition", columns.REVIEWS, content["open_reviews"]),
        Sheet("Flows", "every flow with its U, k and conformity", columns.FLOWS, content["readings"]),
        Sheet("Readings", "what was observed, with which instrument, by whom", columns.READINGS, content["readings"]),
        Sheet("Totals", "totals of systems, of the job and of rooms", columns.TOTALS, list(_totals(content))),
        *_budgets(content["readings"]),
        Sheet("Budgets in full", "every input quantity of one flow of each kind", columns.IN_FULL, list(_in_full(content))),
        Sheet("Decisions", "risks of wrong decisions", columns.DECISIONS, (content["risks"] or {}).get("decisions", [])),
        Sheet("Refused readings", "readings for which no flow is reported, and why", columns.REFUSALS, content["refusals"]),
        Sheet("Amendments", "what was corrected, with both values and the reason", columns.AMENDMENTS, list(_amended(content))),
        Sheet("Flows before", "flows that an amendment changed", columns.BEFORE, list(_before(content))),
        Sheet("Conditions", "observed conditions of the air", columns.CONDITIONS, list(_conditions(content))),
        Sheet("Traverses", "velocities at the points of duct traverses", columns.POINTS, list(_points(content))),
        Sheet("Instruments", "instruments with their calibrations", columns.INSTRUMENTS, content["instruments"]),
        Sheet("Reference standards", "of calibrations made in house", columns.INSTRUMENTS, content["reference_standards"]),
        Sheet("Comparisons", "comparisons of the certificates", columns.COMPARISONS, list(_comparisons(content))),
        Sheet("Curves", "coefficients of the calibration curves", columns.COEFFICIENTS, list(_coefficients(content))),
    )  # fmt: skip
    return [one for one in every if one.rows]


def _totals(content: Content) -> Iterator[Content]:
    for of, part, whose in (("system", "totals", "system"), ("job", "job_totals", "system"), ("room", "rooms", "room")):
        yield from (one | {"of": of, "whose": one[whose]} for one in content[part])


def _budgets(readings: Sequence[Content]) -> tuple[Sheet, Sheet]:
    rows = [one | {"by_name": {each["name"]: each for each in one["contributions"]}} for one in readings]
    listed = {name for row in rows for name in row["by_name"]}
    limited = {each["name"] for row in rows for each in row["contributions"] if each["degrees_of_freedom"] is not None}
    names = [name for name in drawings.CONTRIBUTIONS if name in listed]
    of_shares = columns.share_columns(names, [name for name in names if name in limited])
    return (
        Sheet("Budgets", "what each influence contributes to the u of each flow", columns.budget_columns(names), rows),
        Sheet("Shares of variance", "the share of each influence in u², and its degrees of freedom", of_shares, rows),
    )


def _amended(content: Content) -> Iterator[Content]:
    for one in content["amendments"]:
        yield from (one | change for change in one["changes"])


def _before(content: Content) -> Iterator[Content]:
    for one in content["amendments"]:
        for each in one["flows"]:
            yield from (
                one | {"reading": each["reading"], "state": state, "flow": each[state]} for state in ("before", "after")
            )


def _conditions(content: Content) -> Iterator[Content]:
    used = {one["conditions"]["name"]: one["conditions"] for one in content["readings"] if one["conditions"]}
    for name, one in used.items():
        yield from (each | {"name": name} for each in one["observed"])
        density = one["density"]
        yield density | {"name": name, "quantity": "density", "observed_at": None, "instrument": None, "source": None}


def _points(content: Content) -> Iterator[Content]:
    for one in content["readings"]:
        if one["traverse"] is not None:
            said = {"reading": one["reading"], "outlet": one["outlet"]}
            said |= {"rule": one["traverse"]["rule"], "unit": one["traverse"]["velocity_unit"]}
            yield from (each | said for each in one["traverse"]["velocities"])


def _in_full(content: Content) -> Iterator[Content]:
    for one in content["budgets_in_full"]:
        yield from (each | {"reading": one["reading"]} for each in one["quantities"])


def _comparisons(content: Content) -> Iterator[Content]:
    for one in (*content["instruments"], *content["reference_standards"]):
        said = {"tag": one["tag"], "certificate": one["certificate"], "residual_unit": one["residual_unit"]}
        yield from (each | said for each in one["comparisons"])


def _coefficients(content: Content) -> Iterator[Content]:
    for one in (*content["instruments"], *content["reference_standards"]):
        curve = one["curve"]
        said = curve | {"tag": one["tag"], "certificate": one["certificate"]}
        of_each = zip(curve["coefficient_names"], curve["coefficients"], curve["standard_uncertainties"], strict=True)
        for name, coefficient, uncertainty in of_each:
            yield said | {"coefficient_name": name, "coefficient": coefficient, "uncertainty": uncertainty}
