"""One content, six forms: what one says another says, to the last digit.

JSON, CSV and workbook hold the numbers unrounded; page and PDF the rounded ones, which the JSON's statement has too; a message has
the first page of the page.
Rounding: GUM 7.2.6; half a unit of the last digit shown is the most that a rounded number may be off.
"""

import re
from collections import Counter

import pytest

from calib.faces.report.content import content
from calib.faces.report.forms import in_forms
from calib.faces.written import probability_text
from calib.procedures.report.collect import report
from calib.records import database
from tests.folders import NOW, records_of, small_job
from tests.read_back import RESULT, Forms, Mail, as_shown, one_spaced, page_text
from tests.report_forms import CSV_RECORDS, csv_misfits, in_symbols

READ = ("html", "pdf")  # the forms that people read whole
ISSUED = "LM-27-r2"
FORMS = ("json", "csv", "xlsx", "html", "pdf", "eml")


def forms_of(records, job, now, folder, units=None):
    with database.reading(str(records)) as session:
        found = report(session, job, now)
        made = in_forms(content(found, now, units), found, FORMS, lambda _: None)
    (folder / "report.pdf").write_bytes(made["pdf"])
    return Forms.of(made, folder / "report.pdf")


def demo_forms(request, _):
    folder = request.getfixturevalue("demo_folder")
    return Forms.of({form: (folder / f"{ISSUED}.{form}").read_bytes() for form in FORMS}, folder / f"{ISSUED}.pdf")


def in_feet(_, folder):
    """The small job in units of feet and pounds, with a refusal."""
    sheets = small_job()
    sheets["calibrations.csv"][1]["due_on"] = "2026-02-10"
    return forms_of(records_of(folder, sheets), "J-1", NOW, folder, "ip")


@pytest.fixture(scope="module", params=[demo_forms, in_feet], ids=["demo", "in feet"])
def forms(request, tmp_path_factory):
    return request.param(request, tmp_path_factory.mktemp("forms"))


def stated(flow):
    """Value ± U with its unit, and k, as the statement of the JSON has them; a minus sign for its hyphen."""
    said, unit, k = re.fullmatch(r"\((.*)\) (\S+), k = (.*)", flow["statement"]).groups()
    return f"{said.replace('-', '−')} {unit}", k


def all_flows(content):
    """Every flow that a report states, with the design it is compared with."""
    for part in ("readings", "totals", "job_totals", "rooms"):
        yield from ((one["flow"], one["design"]) for one in content[part] if one["flow"])


# --- unrounded -------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("record", CSV_RECORDS)
def test_csv_and_json_agree(forms, record):
    assert list(csv_misfits(forms.csv, forms.content, record)) == []


FLOW_CELLS = {
    "Flow": "value", "U": "expanded_uncertainty", "Unit": "unit", "k": "coverage_factor", "u": "standard_uncertainty",
    "Effective ν": "effective_degrees_of_freedom", "Coverage probability": "coverage_probability",
}  # fmt: skip
DESIGN_CELLS = {
    "Design": "value", "Tolerance [%]": "tolerance_percent", "% of design": "percent_of_design", "Conformity": "conformity",
    "Probability of conformity": "probability_of_conformity", "Consumer's risk": "consumer_risk",
    "Producer's risk": "producer_risk",
}  # fmt: skip


def cells_of(row, labels):
    return {label: in_symbols(row[label]) if label == "Unit" else row[label] for label in labels if label in row}


def filled(source, cells):
    return {label: source[key] for label, key in cells.items() if source and source.get(key) is not None}


def flow_and_design(one):
    without_end = {"Effective ν": "∞"} if one["flow"] and one["flow"]["effective_degrees_of_freedom"] is None else {}
    return without_end | filled(one["flow"], FLOW_CELLS) | filled(one["design"], DESIGN_CELLS)


def test_every_flow_of_the_workbook_is_that_of_the_json_bit_for_bit(forms):
    rows = {row["Reading"]: row for row in forms.workbook.sheets["Flows"]}
    assert len(rows) == len(forms.content["readings"]) > 0
    for one in forms.content["readings"]:
        assert cells_of(rows[one["reading"]], FLOW_CELLS | DESIGN_CELLS) == flow_and_design(one)


def test_every_total_of_the_workbook_is_that_of_the_json_bit_for_bit(forms):
    content = forms.content
    totals = [*content["totals"], *content["job_totals"], *content["rooms"]]
    assert len(forms.workbook.sheets["Totals"]) == len(totals) > 0
    for row, one in zip(forms.workbook.sheets["Totals"], totals, strict=True):
        assert cells_of(row, FLOW_CELLS | DESIGN_CELLS) == flow_and_design(one)
        assert row.get("Probability that it is so") == one.get("probability_as_wanted")


def test_every_budget_of_the_workbook_is_that_of_the_json_bit_for_bit(forms):
    budgets, shares = forms.workbook.sheets["Budgets"], forms.workbook.sheets["Shares of variance"]
    for one, budget, share in zip(forms.content["readings"], budgets, shares, strict=True):
        lines = one["contributions"]
        said = {label: value for label, value in budget.items() if label.startswith("u: ")}
        assert said == {f"u: {each['name']}": each["standard_uncertainty"] for each in lines}
        said = {label: value for label, value in share.items() if label.startswith("share")}
        assert said == {f"share [%]: {each['name']}": each["variance_percent"] for each in lines}
        said = {label: value for label, value in share.items() if label.startswith("ν")}
        finite = [each for each in lines if each["degrees_of_freedom"] is not None]
        assert said == {f"ν: {each['name']}": each["degrees_of_freedom"] for each in finite}


def test_every_budget_of_a_total_in_the_workbook_is_that_of_the_json_bit_for_bit(forms):
    totals = [total for part in ("totals", "job_totals", "rooms") for total in forms.content[part]]
    lines = [(each["name"], each["standard_uncertainty"]) for total in totals for each in total["contributions"]]
    assert [(row["Contribution"], row["u"]) for row in forms.workbook.sheets["Budgets of totals"]] == lines
    for total in (total for total in totals if total["flow"]):
        squares = sum(each["standard_uncertainty"] ** 2 for each in total["contributions"])
        assert squares == pytest.approx(total["flow"]["standard_uncertainty"] ** 2)


def test_coefficients_and_comparisons_of_the_workbook_are_those_of_the_json(forms):
    instruments = [*forms.content["instruments"], *forms.content["reference_standards"]]
    curves = [one["curve"] for one in instruments]
    # With those of candidates of a higher degree, whose scatter counts too.
    coefficients = [
        number
        for curve in curves
        for number in [*curve["coefficients"], *[0.0] * (len(curve["scatter"]["names"]) - len(curve["coefficients"]))]
    ]
    shown = forms.workbook.sheets["Curves"]
    assert [row["Value"] for row in shown] == coefficients
    beside = [[row[label] for label in row if label.startswith("Correlation")] for row in shown]
    known = [each for curve in curves for each in curve["scatter"]["correlations"]]
    assert beside == [row[: row.index(1.0)] for row in known]
    compared = [each for one in instruments for each in one["comparisons"]]
    rows = forms.workbook.sheets["Comparisons"]
    forms_of_rows = forms.workbook.formats["Comparisons"]
    for row, form, each in zip(rows, forms_of_rows, compared, strict=True):
        assert row.get("Residual") == each["residual"]
        for label in ("Reference", "Indication"):
            assert as_shown(row[label], form[label]) == each[label.lower()]  # with the zeros that were typed


# --- rounded ---------------------------------------------------------------------------------------------------------------------


def test_page_and_pdf_state_the_same_results_equally_often(forms):
    """The PDF's text has those in its drawings too."""
    counts = {form: Counter(RESULT.findall(forms.texts[form])) for form in READ}
    assert counts["pdf"] == counts["html"] + Counter(RESULT.findall(forms.drawn))
    expected = Counter(stated(flow)[0] for flow, _ in all_flows(forms.content))
    assert expected.total() > 3
    assert expected <= counts["html"]


def written(one):
    """What follows a reading's velocity in its row: flow, k, design, tolerance, share, statement, probability."""
    result, k = stated(one["flow"])
    design = one["design"]
    if design is None:
        return f"{result} {k} none"
    typed = design["typed"]
    beside = "" if typed["unit"] == design["unit"] else f" {typed['value']} {typed['unit']}"
    number = f"{design['value']:.4g} {design['unit']}{beside} ± {design['tolerance_percent']:g} %"
    word = f"{'●◐◔✘'[('pass', 'conditional pass', 'conditional fail', 'fail').index(design['conformity'])]} {design['conformity']}"
    probability = probability_text(design["probability_of_conformity"])
    return f"{result} {k} {number} {design['percent_of_design']:.1f} {word} {probability}"


def test_a_reading_s_row_says_the_same_on_page_and_pdf(forms):
    for one in forms.content["readings"]:
        assert written(one) in forms.pdf
        assert any(
            any(cell.startswith(one["outlet"]) for cell in row[:2]) and written(one) in one_spaced(" ".join(row))
            for row in forms.page.rows
        )


def test_the_message_says_what_the_first_page_says_to_the_last_letter(forms):
    first = in_symbols(page_text(forms.html.partition("<details")[0]))
    text, attached = forms.texts["mail"].split(" The whole report is attached: ")
    assert text.replace(", in the attached report", "") == first  # where a notice leads to
    assert attached.startswith(forms.content["job"])


def test_the_plain_body_has_every_row_of_the_first_page(forms):
    plain = without_commas(in_symbols(forms.mail.plain))
    assert len(forms.mail_page.rows) > 5
    for number, row in enumerate(forms.mail_page.rows):
        if number not in forms.mail_page.headings:
            assert [cell for cell in row if without_commas(re.sub("[●◐◔✘] ", "", cell)) not in plain] == []


def without_commas(text):
    """Lines of a cell are joined by commas in the plain body."""
    return squeezed(text.replace(",", ""))


def test_the_workbook_shows_the_digits_of_the_report(forms):
    """From tens on a number format cannot round: there the cell shows it whole, and the column beside has it as reported."""
    rows, shown = forms.workbook.sheets["Flows"], forms.workbook.formats["Flows"]
    for row, form, one in zip(rows, shown, sorted_as(rows, forms.content["readings"]), strict=True):
        result, k = stated(one["flow"])
        assert in_symbols(row["Flow ± U as reported"]) == f"({result.rpartition(' ')[0]}) {one['flow']['unit']}"
        assert as_shown(row["k"], form["k"]) == k
        if row["U"] < 99.5:
            assert (
                result
                == f"{as_shown(row['Flow'], form['Flow'])} ± {as_shown(row['U'], form['U'])} {in_symbols(row['Unit'])}"
            )
        if one["design"]:
            probability = one["design"]["probability_of_conformity"]
            assert as_shown(probability, form["Probability of conformity"]) == probability_text(probability)
            assert as_shown(row["% of design"], form["% of design"]) == f"{one['design']['percent_of_design']:.1f}"


def sorted_as(rows, readings):
    by_key = {one["reading"]: one for one in readings}
    return [by_key[row["Reading"]] for row in rows]


# --- whole -----------------------------------------------------------------------------------------------------------------------


def said_in_all(content):
    """Texts that no form may lack."""
    yield from (one["outlet"] for one in content["readings"])
    yield from (one["outlet"] for one in content["refusals"])
    yield from (reason for one in content["refusals"] for reason in one["reasons"])
    yield from (one["reason"] for one in content["amendments"])
    yield from (
        each[key]
        for one in content["amendments"]
        for each in one["changes"]
        for key in ("before", "after")
        if each[key]
    )
    yield from (text for one in content["instruments"] for text in (one["tag"], one["certificate"], one["due_on"]))
    yield from (one["room"] for one in content["rooms"])
    yield content["ledger_digest"]


@pytest.mark.parametrize("form", ["csv", "xlsx", *READ])
def test_nothing_is_missing_in_a_form(forms, form):
    text = forms.texts[form]
    told = list(said_in_all(forms.content))
    assert len(told) > 8
    assert [one for one in told if squeezed(one) not in squeezed(text)] == []


def squeezed(text):
    """Without white: a narrow column breaks a word where a line ends."""
    return re.sub(r"\s", "", text)


def test_the_message_carries_the_pdf_to_the_last_byte(demo_folder):
    attached = Mail.of((demo_folder / f"{ISSUED}.eml").read_bytes()).attachments
    assert attached == {f"{ISSUED}.pdf": (demo_folder / f"{ISSUED}.pdf").read_bytes()}
