"""The section of a report on factors found on site that its flows rest on: pairs, uncertainty, what cancels, cautions."""

from collections.abc import Iterator, Sequence
from itertools import groupby

from calib.faces.parts.factor_revision import CALLED, holds_for
from calib.faces.parts.reading_in_full import CANCELLING
from calib.faces.report.anchors import Anchors
from calib.faces.report.blocks import (
    Block,
    Bullets,
    Cell,
    Heading,
    Run,
    Table,
    TableColumn,
    TableRow,
    number_columns,
    paragraph,
    runs,
)
from calib.faces.report.observed import zone_of
from calib.faces.report.table_cells import NOTHING, degrees_cell, digits_cell, leading_cell, row_of, words_cell
from calib.faces.written import Content, moment_text, unit_text


def found_factors_section(report: Content, anchors: Anchors) -> Iterator[Block]:
    """Each factor found on site; nothing where no flow rests on one."""
    if not report["found_factors"]:
        return
    yield Heading(2, "Factors found on site", "found-factors")
    yield paragraph(
        "K = q/(v A) of each pair of readings: q the flow in the duct, v the corrected velocity at the face of the outlet, A the "
        "area of its opening. The factor is the mean of its pairs. The u of a traverse without its repeatability and "
        "resolution, which the spread of the pairs shows, counts in full, however many pairs there are."
    )
    here, zone = {reading["reading"] for reading in report["readings"]}, zone_of(report)
    for _, revisions in groupby(report["found_factors"], key=lambda factor: factor["factor"]):
        yield from _factor(list(revisions), here, report["job"], zone, anchors)


def _factor(revisions: Sequence[Content], here: set[int], job: str, zone: str, anchors: Anchors) -> Iterator[Block]:
    latest = revisions[-1]
    yield Heading(3, f"{latest['factor']}, revision {latest['revision']}", anchors.of("factor", latest["factor"]))
    yield paragraph(
        f"{latest['same_calibration']['statement']}, with the same calibration; {latest['recalibrated']['statement']}, after a "
        "recalibration. ",
        *([f"Effective area {latest['effective_area']['statement']}. "] if latest["effective_area"] else []),
        f"Holds for {holds_for(latest)}. Found by {latest['found_by']}, {moment_text(latest['found_at'], zone)}: ",
        latest["reason"],
        ".",
    )
    yield _pairs(latest, here, job, zone, anchors)
    yield _uncertainties(latest)
    yield paragraph(_what_cancels(latest))
    if latest["cautions"]:
        yield Bullets(tuple(runs("Caution: ", caution, ".") for caution in latest["cautions"]))
    if len(revisions) > 1:
        yield _revisions(revisions, zone)


def _pairs(factor: Content, here: set[int], job: str, zone: str, anchors: Anchors) -> Table:
    unit = factor["pairs"][0]["indication"]["unit"]
    columns = (
        TableColumn("In the duct"),
        TableColumn("Observed"),
        TableColumn("At the face"),
        TableColumn("Observed"),
        *number_columns(f"Indication at the face [{unit_text(unit)}]", "K"),
    )
    rows = tuple(
        row_of(
            _reading(pair["traverse"], pair["duct"], pair["job_of_duct"], here, job, anchors),
            words_cell(moment_text(pair["traversed_at"], zone)),
            _reading(pair["face"], pair["outlet"], pair["job_of_outlet"], here, job, anchors),
            words_cell(moment_text(pair["observed_at"], zone)),
            digits_cell(pair["indication"]["value"], 7, unit),
            digits_cell(pair["value"], 7),
        )
        for pair in factor["pairs"]
    )
    return Table(f"Pairs of {factor['factor']}", columns, rows)


def _reading(reading: int, outlet: str, of_job: str, here: set[int], job: str, anchors: Anchors) -> Cell:
    """A reading of a pair; one of this report leads to its line, another names its job."""
    if of_job != job:
        return words_cell(f"{reading}, ", outlet, f", job {of_job}")
    said = f"{reading}, {outlet}"
    return leading_cell(said, anchors.of("reading", reading)) if reading in here else words_cell(said)


def _uncertainties(factor: Content) -> Table:
    """Relative standard uncertainties of the factor, with the same calibration and after a recalibration."""
    columns = (
        TableColumn("What contributes to u(K)/K"),
        *number_columns("With the same calibration [%]", "After a recalibration [%]", "ν"),
    )
    rows = [_contribution(each) for each in factor["contributions"]]
    both = [factor[case]["relative_standard_uncertainty_percent"] for case in ("same_calibration", "recalibrated")]
    combined = row_of(words_cell("combined"), *(digits_cell(u, 4) for u in both), NOTHING, is_total=True)
    return Table(f"Uncertainty of {factor['factor']}", columns, (*rows, combined), is_compact=True)


def _contribution(each: Content) -> TableRow:
    u = digits_cell(each["relative_standard_uncertainty_percent"], 4)
    same = words_cell("cancels") if each["name"] == "instrument" else u
    return row_of(words_cell(CALLED[each["name"]]), same, u, degrees_cell(each["degrees_of_freedom"]))


def _what_cancels(factor: Content) -> str:
    meter, certificate = factor["instrument"], factor["certificate"]
    return (
        f"What cancels: an error of {meter} by its certificate {certificate} that makes it read high made the factor low, so that "
        "v K is right, as long as the error is the same fraction of both velocities. Flows that use the factor with this "
        f"calibration bear of {' and '.join(CANCELLING)} only what the velocity of the reading differs from those of the "
        f"pairs; the change of {meter} since its calibration does not cancel, and after a recalibration nothing does."
    )


def cancelling_lines(readings: Sequence[Content]) -> list[str]:
    """Whose contributions are small because they cancel, and against what: a line for each factor with its outlets."""
    outlets: dict[tuple[str, str], dict[str, None]] = {}
    for reading in readings:
        for each in reading["contributions"]:
            if each.get("cancels_with"):
                outlets.setdefault((each["cancels_with"], reading["certificate"]), {})[reading["outlet"]] = None
    return [
        f"{' and '.join(CANCELLING).capitalize()} are small at {', '.join(names)} since they cancel: the factor {factor} was found "
        f"with the calibration {certificate} that the readings there use"
        for (factor, certificate), names in outlets.items()
    ]


def _revisions(revisions: Sequence[Content], zone: str) -> Table:
    columns = (
        TableColumn("Revision", is_number=True),
        *number_columns("K", "u, same calibration"),
        TableColumn("Pairs"),
        TableColumn("Found"),
        TableColumn("Reason", is_wordy=True),
    )
    rows = tuple(
        row_of(
            Cell((Run(str(each["revision"])),), float(each["revision"])),
            digits_cell(each["value"], 7),
            digits_cell(each["same_calibration"]["standard_uncertainty"], 4),
            words_cell(", ".join(f"{pair['traverse']}:{pair['face']}" for pair in each["pairs"])),
            words_cell(f"{moment_text(each['found_at'], zone)}, {each['found_by']}"),
            words_cell(each["reason"]),
        )
        for each in revisions
    )
    return Table(f"Revisions of {revisions[-1]['factor']}", columns, rows)
