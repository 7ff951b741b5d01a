"""The JSON of a report is what its schema says, and the schema says all of it.

Source: JSON Schema 2020-12, by the library jsonschema. The file itself lets fields be added; here each object is closed, so that a
field that it does not name is found.
"""

import json
from copy import deepcopy
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator
from PIL import Image

import calib
from tests import signing
from tests.command import done
from tests.every_way import every_way
from tests.folders import records_of, small_job
from tests.report_forms import report_of

SHIPPED = Path(calib.__file__).parent / "faces" / "report" / "report.schema.json"
SCHEMA = json.loads(SHIPPED.read_text())


def closed(schema):
    """The schema with nothing allowed that it does not name."""
    if isinstance(schema, list):
        return [closed(each) for each in schema]
    if not isinstance(schema, dict):
        return schema
    parts = {key: closed(each) for key, each in schema.items()}
    return parts | {"additionalProperties": False} if "required" in schema and "properties" in schema else parts


CLOSED = Draft202012Validator(closed(SCHEMA))


def misfits(document):
    return [f"{each.json_path}: {each.message[:200]}" for each in CLOSED.iter_errors(document)]


def demo(request):
    return json.loads((request.getfixturevalue("demo_folder") / "LM-27-r2.json").read_text())


def of_sheets(sheets, job="J-1"):
    def document(request):
        folder = request.getfixturevalue("tmp_path")
        return json.loads(report_of(records_of(folder, sheets()), folder / "reports", "json", job)["json"])

    return document


def nothing_measured():
    sheets = small_job()
    del sheets["readings.csv"]
    return sheets


def refused_alone():
    sheets = small_job()
    for row in sheets["calibrations.csv"]:
        row["due_on"] = "2026-02-10"
    return sheets


def two_figures_and_limits():
    """A method with two figures, a declared source, and an outlet whose limits differ on both sides."""
    sheets = small_job()
    two = {"common_standard_uncertainty_percent": "2.0", "own_standard_uncertainty_percent": "1.5"}
    sheets["methods.csv"] = [row | dict.fromkeys(two, "") for row in sheets["methods.csv"]]
    sheets["methods.csv"][0] |= two | {"relative_standard_uncertainty_percent": ""}
    sides = {"tolerance_minus_percent": "0", "tolerance_plus_percent": "10"}
    first, *others = sheets["outlets.csv"]
    sheets["outlets.csv"] = [
        first | sides | {"tolerance_percent": ""},
        *(row | dict.fromkeys(sides, "") for row in others),
    ]
    source = {"source": first["outlet_factor_source"], "document": "Sheet 12", "edition": "2024"}
    sheets["sources.csv"] = [source | {"basis": "measured by the maker"}]
    return sheets


def drifted(request):
    """With an open review."""
    records, folder = request.getfixturevalue("drifted_records"), request.getfixturevalue("tmp_path")
    return json.loads(report_of(records, folder / "reports", "json")["json"])


def signed(request):
    """Issued and signed, by a company with a mark."""
    records, folder = request.getfixturevalue("small_records"), request.getfixturevalue("tmp_path")
    request.getfixturevalue("monkeypatch").setenv("CALIB_SIGNING_PASSWORD", signing.PASSWORD)
    for name, role in (("Quinn", "QA"), ("Ed", "engineer")):
        done(records, "person", "add", name, "--role", role, "--by", "Quinn")
    mark = folder / "mark.png"
    Image.new("RGB", (60, 30), "#336655").save(mark)
    done(records, "company", "set", "Tern Air", "--address", "3 Weir Road", "--mark", mark, "--by", "Quinn")
    key = folder / "ed.p12"
    key.write_bytes(signing.p12())
    done(records, "report", "J-1", "--issue", "--sign", key, "--format", "pdf,json", "--by", "Ed", "--into", folder)
    return json.loads((folder / "J-1-r1.json").read_text())


REPORTS = {
    "demo": demo,
    "small job": of_sheets(small_job),
    "every way": of_sheets(every_way, "E-1"),
    "nothing measured": of_sheets(nothing_measured),
    "refused alone": of_sheets(refused_alone),
    "two figures": of_sheets(two_figures_and_limits),
    "open review": drifted,
    "signed": signed,
}


def test_the_schema_is_one():
    Draft202012Validator.check_schema(SCHEMA)


@pytest.mark.parametrize("name", REPORTS)
def test_a_report_is_what_its_schema_says(request, name):
    assert misfits(REPORTS[name](request)) == []


def changed(document, *path, value):
    copy = deepcopy(document)
    *before, last = path
    part = copy
    for key in before:
        part = part[key]
    if value is None:
        del part[last]
    else:
        part[last] = value
    return copy


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("schema",), "urn:calib:report:0"),
        (("readings", 0, "evidence", "indications", 0), 2.5),
        (("readings", 0, "flow", "value"), "610"),
        (("readings", 0, "flow", "expanded_uncertainty"), None),
        (("readings", 0, "evidence"), None),
        (("totals", 0, "service"), "recirculation"),
        (("instruments", 0, "curve", "scatter", "more"), 1),
        (("summary", "statements", "undecided"), 1),
        (("cross_checks", 0, "first", "flow"), None),
        (("not_measured", 0, "design", "typed", "value"), 40),
    ],
)
def test_a_field_that_is_missing_or_of_another_kind_is_found(request, path, value):
    assert misfits(changed(demo(request), *path, value=value))


def test_the_schema_is_named_where_reports_are_explained():
    page = Path(calib.__file__).parent / "faces" / "manual" / "report.md"
    assert SHIPPED.name in page.read_text()
    assert SCHEMA["$id"] == SCHEMA["properties"]["schema"]["const"]


def test_a_report_with_photographs_fits_the_schema(tmp_path):
    records = records_of(tmp_path, small_job())
    Image.new("RGB", (40, 30)).save(tmp_path / "grille.png")
    done(records, "outlet", "attach", "J-1", "S-1", tmp_path / "grille.png", "--by", "A. Person")
    document = json.loads(report_of(records, tmp_path, "json", "J-1", "--photographs")["json"])
    assert len(document["photographs"]) == 1
    assert misfits(document) == []
