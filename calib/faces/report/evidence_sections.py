"""What the flows rest on: decision rule and risks, amendments, refused readings, traverses, air, instruments, budgets."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from operator import itemgetter

from calib.faces import drawings
from calib.faces.report.anchors import Anchors
from calib.faces.report.appendix import standards
from calib.faces.report.blocks import (
    Block,
    Bullets,
    Cell,
    Column,
    Heading,
    Mark,
    Paragraph,
    Picture,
    Row,
    Run,
    Table,
    runs,
)
from calib.faces.report.cells import NOTHING, flow_cell, number, words
from calib.faces.written import Content, count_of, degrees_text, moment_text, risk_text, signed_percent, two_digits

# --- decisions -------------------------------------------------------------------------------------------------------------------


def decisions(report: Content) -> Iterator[Block]:
    """The decision rule, and the risks of deciding wrongly."""
    yield Heading(2, "Decision rule", "rule")
    yield Paragraph(runs(report["decision_rule_in_words"]))
    yield Paragraph(
        runs(
            "The probability of conformity is that of the true flow lying within design × (1 ± tolerance), from "
            "the measured value, "
            "its standard uncertainty and its effective degrees of freedom."
        )
    )
    risks = report["risks"]
    if risks is None:
        return
    process = risks["process"]
    columns = (
        Column("Decisions"),
        Column("Judged", is_number=True),
        Column("Accepted", is_number=True),
        Column("Expected wrong among the accepted", is_number=True),
        Column("Expected wrong among the rejected", is_number=True),
        *(_GLOBAL_RISKS if process else ()),
    )
    rows = tuple(_decision(one, has_process=process is not None) for one in risks["decisions"])
    yield Table("Risks of the decisions", columns, rows, is_compact=True)
    yield Paragraph(runs(_about_risks(process)), soft=True)


_GLOBAL_RISKS = (Column("Global consumer's risk", is_number=True), Column("Global producer's risk", is_number=True))


def _decision(one: Content, *, has_process: bool) -> Row:
    whole = (_risk(one["global_consumer_risk"]), _risk(one["global_producer_risk"])) if has_process else ()
    return Row(
        (
            words("System ", one["system"]) if one["system"] else words("Whole job"),
            number(one["judged"], "d"),
            number(one["accepted"], "d"),
            number(one["expected_wrongly_accepted"], ".2f"),
            number(one["expected_wrongly_rejected"], ".2f"),
            *whole,
        )
    )


def _risk(value: float | None) -> Cell:
    return NOTHING if value is None else Cell((Run(risk_text(value)),), value)


def _about_risks(process: Content | None) -> str:
    said = (
        "The specific risk of one decision is 1 less its probability of conformity where it was accepted, "
        "and that probability where "
        "it was rejected; their sums are the numbers to be expected."
    )
    if process is None:
        return said
    return (
        f"{said} The global risks (JCGM 106, 9.5) are those of the next outlet of an installation whose true flows lie about their "
        f"designs with a mean of {process['mean_percent_of_design']:.1f} % and a standard deviation of "
        f"{process['standard_deviation_percent']:.1f} % ({process['basis']}), measured as here."
    )


# --- what was corrected, and what was refused ------------------------------------------------------------------------------------


def amendments(report: Content) -> Iterator[Block]:
    """Corrections since the job was first entered, with both values and the reason."""
    if not report["amendments"]:
        return
    yield Heading(2, "Amendments", "amendments")
    columns = (
        Column("Corrected"),
        Column("Before → after", is_wordy=True),
        Column("Reason", is_wordy=True),
        Column("By, at", is_wordy=True),
        Column("Latest flow before", is_number=True),
        Column("Latest flow after", is_number=True),
    )
    yield Table("Amendments", columns, tuple(_amendment(one) for one in report["amendments"]))


def _amendment(one: Content) -> Row:
    last = one["flows"][-1] if one["flows"] else {"before": None, "after": None}
    return Row(
        (
            words(one["record"], f", revision {one['revision']}"),
            words(*_amended(one["changes"])),
            words(one["reason"]),
            words(one["by"], f", {moment_text(one['at'])}"),
            flow_cell(last["before"], otherwise=""),
            flow_cell(last["after"], otherwise=""),
        )
    )


def _amended(changes: Sequence[Content]) -> Iterator[str]:
    for place, each in enumerate(changes):
        yield f"{'; ' if place else ''}{each['column'].replace('_', ' ')}: "
        yield from (each["before"] or "none", " → ", each["after"] or "none")


_NONE_REFUSED = "None: every reading was taken with an instrument in calibration."


def refused(report: Content, anchors: Anchors) -> Iterator[Block]:
    """Readings that yield no flow, with the reasons."""
    yield Heading(2, "Refused readings", "refused")
    if not report["refusals"]:
        yield Paragraph(runs(_NONE_REFUSED if report["readings"] else "None: no reading was recorded."))
        return
    columns = (
        Column("Outlet"),
        Column("System"),
        Column("Instrument"),
        Column("Observed"),
        Column("Reasons", is_wordy=True),
    )
    rows = (
        Row(
            (
                words(one["outlet"]),
                words(one["system"], f", {one['service']}"),
                words(one["instrument"]),
                words(moment_text(one["observed_at"])),
                words("; ".join(one["reasons"])),
            ),
            anchor=anchors.of("refused", place),
        )
        for place, one in enumerate(report["refusals"], start=1)
    )
    yield Table("Refused readings", columns, tuple(rows))


# --- traverses and air -----------------------------------------------------------------------------------------------------------


def traverses(report: Content, anchors: Anchors) -> Iterator[Block]:
    """What each traverse tells of its profile."""
    found = [one for one in report["readings"] if one["traverse"] is not None]
    if not found:
        return
    yield Heading(2, "Traverses", "traverses")
    columns = (
        Column("Duct"),
        Column("Rule", is_short=True),
        Column("Lines × points", is_number=True),
        Column("Passes", is_number=True),
        Column("Largest over mean velocity", is_number=True),
        Column("Points below a tenth of the largest pressure", is_number=True),
        Column("Skew across, up", is_number=True),
        Column("Profile", is_wordy=True),
    )
    yield Table("Traverses", columns, tuple(_traverse(one, anchors) for one in found))
    yield Paragraph(
        runs(
            "Velocities are averaged over the points, never pressures. The spread over the points is the profile of the duct and "
            "enters no uncertainty as repeatability; repeated passes do."
        ),
        soft=True,
    )


def _traverse(one: Content, anchors: Anchors) -> Row:
    traversed, profile = one["traverse"], one["traverse"]["profile"]
    return Row(
        (
            Cell((Run(one["outlet"], to=anchors.of("reading", one["reading"])),)),
            words(traversed["rule"]),
            words(f"{traversed['lines']} × {traversed['points']}"),
            number(traversed["passes"], "d"),
            number(profile["largest_over_mean"], ".2f"),
            number(profile["low_share_percent"], ".0f", "%"),
            words(f"{signed_percent(profile['skew_across_percent'])}, {signed_percent(profile['skew_up_percent'])}"),
            words("; ".join(profile["findings"]) or "nothing stands out"),
        )
    )


def air(report: Content) -> Iterator[Block]:
    """Conditions of the air that readings rest on, each once."""
    found = {one["conditions"]["name"]: one["conditions"] for one in report["readings"] if one["conditions"]}
    if not found:
        return
    yield Heading(2, "Conditions of the air", "air")
    columns = (
        Column("Conditions"),
        Column("Density", is_number=True),
        Column("u", is_number=True),
        Column("Observed", is_wordy=True),
    )
    rows = (
        Row(
            (
                words(one["name"]),
                number(one["density"]["value"], ".4f", "kg/m³"),
                _uncertainty(one["density"]["standard_uncertainty"], "kg/m³"),
                words(*_observed(one["observed"])),
            )
        )
        for one in found.values()
    )
    yield Table("Conditions of the air", columns, tuple(rows))
    yield Paragraph(
        runs(
            "Density of moist air by CIPM-2007, with the corrections and uncertainties of the instruments that observed it."
        ),
        soft=True,
    )


def _uncertainty(value: float, unit: str | None = None) -> Cell:
    text = two_digits(value)
    return Cell((Run(f"{text} {unit}" if unit else text),), value, unit)


def _observed(rows: Sequence[Content]) -> Iterator[str]:
    for place, each in enumerate(rows):
        yield f"{'; ' if place else ''}{each['quantity']} {each['value']} {each['unit']} ("
        yield each["instrument"] or each["source"] or ""
        yield f", u = {two_digits(each['standard_uncertainty'])})"


# --- instruments -----------------------------------------------------------------------------------------------------------------


def instruments(report: Content, anchors: Anchors) -> Iterator[Block]:
    """Every instrument that a flow rests on, with its certificate."""
    yield Heading(2, "Instruments used", "instruments")
    if not report["instruments"]:
        yield Paragraph(runs("No reading stands, so no instrument was used for a reported flow."))
        return
    columns = (
        Column("Instrument"),
        Column("Kind, maker, model, serial number", is_wordy=True),
        Column("Certificate"),
        Column("Laboratory", is_wordy=True),
        Column("Calibrated", is_short=True),
        Column("Accepted", is_short=True),
        Column("Due", is_short=True),
        Column("Measuring interval"),
    )
    yield Table("Instruments used", columns, tuple(_instrument(one, anchors) for one in report["instruments"]))
    if report["reference_standards"]:
        columns = (Column("Reference standard"), *columns[1:])
        rows = tuple(_instrument(one, anchors) for one in report["reference_standards"])
        yield Table("Reference standards of calibrations in house", columns, rows)


def _instrument(one: Content, anchors: Anchors) -> Row:
    place = (one["tag"], one["certificate"])
    return Row(
        (
            Cell((Run(one["tag"], to=anchors.of("curve", *place)),)),
            words(one["kind"], ", ", one["maker"], " ", one["model"], ", ", one["serial"]),
            Cell((Run(one["certificate"], to=anchors.of("calibration", *place)),)),
            words(*_laboratory(one, anchors)),
            words(one["calibrated_on"]),
            words(one["accepted_on"] or ""),
            words(one["due_on"]),
            words(one["measuring_interval"]),
        ),
        anchor=anchors.of("instrument", *place),
    )


def _laboratory(one: Content, anchors: Anchors) -> Iterator[str | Run]:
    yield one["laboratory"]
    if one["accreditation"]:
        yield from (", ", one["accreditation"])
    if one["reference_standards"]:
        yield ", by comparison with "
        yield from standards(one, anchors)


# --- budgets ---------------------------------------------------------------------------------------------------------------------


def budgets(report: Content, anchors: Anchors) -> Iterator[Block]:
    """What each influence contributes to the uncertainty of each flow."""
    readings = report["readings"]
    if not readings:
        return
    yield Heading(2, "Uncertainty budgets", "budgets")
    yield Paragraph(
        runs(
            "What each influence contributes to the standard uncertainty u of each flow, in the unit of the flow; u² is the sum of "
            "their squares. One budget of each kind of measurement stands in full in the ",
            Run("appendix", to="in-full"),
            ".",
        )
    )
    listed = {each["name"] for one in readings for each in one["contributions"]}
    names = [name for name in drawings.CONTRIBUTIONS if name in listed]
    columns = (
        Column("Outlet"),
        Column("Unit", is_short=True),
        *(Column(name.capitalize(), is_number=True) for name in names),
        Column("u", is_number=True),
        Column("ν", is_number=True),
    )
    yield Table("Uncertainty budgets", columns, tuple(_budget(one, names, anchors) for one in readings))
    yield from _dominated(readings, anchors)
    yield Paragraph(runs(_SHARED), soft=True)
    yield from _shares(readings)


_SHARED = (
    "Repeatability is evaluated from the observations (Type A) where a reading has several, else from the instrument's declared "
    "repeatability (Type B). Calibration scatter, reference standard and stability are shared by all "
    "readings with one calibration; "
    "dimension by the readings at one outlet; outlet factor, with which an effective area is listed, by all outlets whose factor "
    "or area has the same source; density by the readings "
    "with the same conditions of the air; probe by the readings with one probe; back pressure by the readings with one hood."
)


def _budget(one: Content, names: Sequence[str], anchors: Anchors) -> Row:
    flow, key = one["flow"], one["reading"]
    parts: Mapping[str, float] = {each["name"]: each["standard_uncertainty"] for each in one["contributions"]}
    return Row(
        (
            Cell((Run(one["outlet"], to=anchors.of("reading", key)),)),
            words(flow["unit"]),
            *(_uncertainty(parts[name]) if name in parts else NOTHING for name in names),
            _uncertainty(flow["standard_uncertainty"]),
            Cell((Run(degrees_text(flow["effective_degrees_of_freedom"])),), flow["effective_degrees_of_freedom"]),
        ),
        anchor=anchors.of("budget", key),
    )


def _dominated(readings: Sequence[Content], anchors: Anchors) -> Iterator[Block]:
    found = tuple(
        runs(
            "At ",
            Run(one["outlet"], to=anchors.of("reading", one["reading"])),
            f" the contribution {one['dominant_contribution']} dominates all others and is rectangular: k of a normal distribution "
            "overstates U there (EA-4/02, S9). ",
            Run(f"calib budget {one['reading']}", Mark.CODE),
            " gives its own k by propagation of distributions.",
        )
        for one in readings
        if one["dominant_contribution"]
    )
    if found:
        yield Bullets(found)


def _shares(readings: Sequence[Content]) -> Iterator[Block]:
    shown = drawings.most_bars(readings)
    chosen = f"The {len(shown)} readings with the largest relative uncertainty. " if len(shown) < len(readings) else ""
    yield Picture(
        "budget",
        drawings.budget_chart(shown),
        _shares_told(shown),
        runs(f"{chosen}Each bar is one flow: what share of its variance u² comes from where."),
    )


def _shares_told(shown: Sequence[Content]) -> str:
    """The picture of the shares in words: which contribution is the largest, and how often."""
    largest = Counter(max(one["contributions"], key=itemgetter("variance_percent"))["name"] for one in shown)
    told = ", ".join(f"{name} for {count}" for name, count in largest.most_common())
    return (
        f"Share of each contribution in the variance of {count_of(len(shown), 'flow', 'flows')}; their numbers are in the table "
        f"above. The largest is: {told}."
    )
