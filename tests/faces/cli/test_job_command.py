"""A company starts by commands alone: from empty records to a flow and its verdict. Common practice, no source."""

import json

from tests.command import calib

INSTRUMENT = ("--kind", "vane", "--maker", "M", "--model", "N", "--serial", "7", "--range-low", "0.3", "--range-high", "20",
              "--unit", "m/s", "--resolution", "0.01", "--mpe-percent", "2", "--mpe-absolute", "0.1", "--interval-months", "12",
              "--repeatability", "0.02")  # fmt: skip
OUTLET = ("--system", "AHU-1", "--service", "supply", "--room", "Store", "--shape", "rectangular", "--width", "400",
          "--height", "200", "--dimension-unit", "mm", "--dimension-limit", "1", "--outlet-factor", "0.84",
          "--outlet-factor-standard-uncertainty", "0.017", "--outlet-factor-source", "traverses at G", "--design-flow", "600",
          "--flow-unit", "m3/h", "--tolerance-percent", "15")  # fmt: skip
COMPARISONS = """phase,reference,indication,unit,expanded_uncertainty,coverage_factor,repeatability,observations
as-found,1.00,1.00,m/s,0.02,2,0.01,10
as-found,3.00,3.00,m/s,0.03,2,0.01,10
as-found,6.00,6.00,m/s,0.06,2,0.01,10
"""


def test_from_nothing_to_a_flow_and_its_verdict(tmp_path):
    records, sheet = tmp_path / "company.sqlite", tmp_path / "c.csv"
    sheet.write_text(COMPARISONS)
    for words in (
        ("init",),
        ("instrument", "add", "VA-1", *INSTRUMENT),
        ("calibration", "add", "VA-1", "C-1", "--laboratory", "North", "--calibrated-on", "2026-02-03", "--comparisons", sheet,
         "--accepted-on", "2026-02-10", "--accepted-by", "D. Quist", "--reason", "accepted on paper"),
        ("method", "add", "sweep", "--common", "1.5", "--own", "2", "--basis", "24 sweeps"),
        ("job", "add", "J-1", "--rule", "simple", "--title", "Rooms"),
        ("outlet", "add", "J-1", "S-1", *OUTLET),
        ("system", "add", "J-1", "AHU-1", "supply", "--design-flow", "600", "--flow-unit", "m3/h", "--tolerance-percent", "10"),
        ("room", "add", "J-1", "Store", "--pressure", "positive"),
    ):  # fmt: skip
        ran = calib(*words, records=records)
        assert ran.status == 0, ran.err

    ran = calib("reading", "add", "J-1", "S-1", "2.48", "2.50", "2.52", "--instrument", "VA-1", "--unit", "m/s", "--method",
                "sweep", "--at", "2026-05-04T10:00+01:00", records=records)  # fmt: skip

    # 2.50 m/s × 0.08 m2 × 0.84 × 3600 s/h = 604.8 m3/h, which is 100.8 % of 600 m3/h
    assert ran.out.startswith("reading 1, S-1: (605 ± ")
    assert ", 100.8 % of design: pass\n" in ran.out
    assert ran.out.endswith("every outlet of the job is measured\n")
    jobs = json.loads(calib("job", "list", "--json", records=records).out)["jobs"]
    assert [(job["job"], job["outlets"], job["outlets_read"], job["issued_revision"]) for job in jobs] == [
        ("J-1", 1, 1, None)
    ]


def test_where_there_is_no_job_the_list_says_so(empty_records):
    assert calib("job", "list", records=empty_records).out == "there is no job\n"


def test_what_is_wrong_with_a_job_is_named_as_it_is_typed_and_nothing_is_written(small_records):
    ran = calib("job", "add", "J-1", "--rule", "lenient", records=small_records)

    assert ran.status == 2
    assert "--rule: 'lenient'; expected one of simple, guarded, guarded non-binary" in ran.err
    assert "JOB: 'J-1'; expected a new one; the records hold it already" in ran.err
    assert "row" not in ran.err


def test_a_job_that_is_not_there_is_told_without_a_word_of_sheets(small_records):
    ran = calib("outlet", "add", "J-9", "S-1", "--system", "AHU-1", "--service", "supply", records=small_records)

    assert ran.status == 2
    assert "JOB: 'J-9'; expected a job in the records" in ran.err
    assert ".csv" not in ran.err
