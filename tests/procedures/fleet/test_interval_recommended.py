"""What a review recommends of meters whose histories are known, as a person asks for it, on a file and on a server.

Source: ILAC-G24:2007 / OIML D 10 (from memory) for what a review is to tell apart; the cases by hand.
"""

import pytest

from calib.procedures.calibrate.accept_calibration import AcceptanceWanted, accept_calibration
from calib.records import database
from calib.records.ledger import Signature
from tests.command import calib
from tests.folders import NOW, imported, small_job, write
from tests.job_with_history import INDICATIONS

ON = ("--on", "2026-03-05")
YEARS = range(2020, 2027)


def meter(shares, *, left=None, last_accepted=True):
    """The small job in which VA-1 was found each January with errors of these shares of its limits, and left with others."""
    sheets = small_job()
    for name in ("calibrations.csv", "comparisons.csv"):
        kept = [row for row in sheets[name] if row["tag"] != "VA-1"]
        template = next(row for row in sheets[name] if row["tag"] == "VA-1")
        sheets[name] = kept
        for year, share, after in zip(YEARS, shares, left or [None] * len(shares), strict=False):
            certificate = {"tag": "VA-1", "certificate": f"C-{year}"}
            if name == "calibrations.csv":
                accepted = f"{year}-01-19" if last_accepted or year < YEARS[-1] else ""
                dates = {"calibrated_on": f"{year}-01-12", "accepted_on": accepted}
                sheets[name].append(template | certificate | dates)
                continue
            for phase, of_limit in (("as-found", share), ("as-left", after)):
                if of_limit is not None:
                    sheets[name] += [template | certificate | compared(x, of_limit, phase) for x in INDICATIONS]
    sheets.pop("readings.csv")
    return sheets


def compared(x, share, phase):
    """A comparison with an error of a share of 1 % of the indication + 0.03 m/s."""
    error = share * (0.01 * x + 0.03)
    return {"phase": phase, "indication": f"{x:.2f}", "reference": f"{x - error:.4f}", "expanded_uncertainty": "0.01"}


def asked(records, folder, sheets, *more):
    imported(records, write(folder / "in", sheets))
    return calib("interval", "VA-1", *ON, *more, "--json", records=records).document


def test_half_of_the_limit_without_drift_is_no_reason_for_a_month(empty_records, tmp_path):
    """It is alone in its family, and has six changes: one step a review."""
    said = asked(empty_records, tmp_path, meter([0.49, 0.48, 0.50, 0.49, 0.49, 0.48, 0.49]))["recommendation"]
    assert (said["action"], said["months"]) == ("lengthen", 18)
    assert said["reliability"] > 0.99
    assert said["why"].endswith(": one step a review, since 6 changes are known, fewer than 10")


def test_a_steady_error_beyond_the_limit_is_accepted_on_the_corrected_value_where_nobody_adjusts(
    empty_records, tmp_path
):
    document = asked(empty_records, tmp_path, meter([1.04, 1.05, 1.06, 1.05, 1.05, 1.04, 1.05]))
    said = document["recommendation"]
    assert (said["action"], said["months"], document["to_record"]) == ("accept on the corrected value", 12, None)
    told = calib("interval", "VA-1", *ON, records=empty_records).out
    assert "recommended: accept it on the corrected value, or have it adjusted; then 12 months" in told


def test_a_steady_error_is_adjusted_where_it_was_adjusted_before(empty_records, tmp_path):
    sheets = meter([0.9, 0.3, 0.6, 0.97, 0.96, 0.97, 0.98], left=[0.3, *[None] * 6])
    assert asked(empty_records, tmp_path, sheets)["recommendation"]["action"] == "adjust"


def test_judged_by_its_corrected_value_a_steady_error_is_no_reason_for_anything(empty_records, tmp_path):
    sheets = meter([1.04, 1.05, 1.06, 1.05, 1.05, 1.04, 1.05])
    said = asked(empty_records, tmp_path, sheets, "--judged", "corrected value")["recommendation"]
    assert (said["action"], said["months"]) == ("lengthen", 18)


def test_changes_count_from_what_an_adjustment_left(empty_records, tmp_path):
    """Found each year 0.6 of the limit further on and set back each time: six changes of 0.6, not of 0 from find to find."""
    sheets = meter([0.6] * 7, left=[0.0] * 7)
    document = asked(empty_records, tmp_path, sheets)
    assert document["spread"]["per_interval"] == pytest.approx(0.6, rel=0.01)
    assert document["recommendation"]["action"] == "shorten"


def test_u_is_taken_off_the_limits_where_the_acceptance_did_so(empty_records, tmp_path):
    """Left at half of its limits; U of the last certificate's error is 40 % of the smallest limit, 0.0366 m/s."""
    sheets = meter([0.52, 0.54, 0.52, 0.50, 0.52, 0.54, 0.50], last_accepted=False)
    said = asked(empty_records, tmp_path, sheets)
    assert (said["decision_rule"], said["recommendation"]["action"]) == ("simple", "lengthen")
    with database.writing(str(empty_records)) as session:
        signature = Signature("Q. Other", NOW, "accept")
        accept_calibration(session, "VA-1", "C-2026", NOW.date(), AcceptanceWanted("guarded"), signature)
    guarded = calib("interval", "VA-1", "--on", "2026-03-06", "--json", records=empty_records).document
    assert guarded["decision_rule"] == "guarded"
    smallest = guarded["points"][0]["in_tolerance"]
    assert smallest < said["points"][0]["in_tolerance"]


def test_a_family_speaks_for_an_instrument_that_is_new(empty_records, tmp_path):
    sheets = meter([0.1, 0.2, 0.1, 0.2, 0.1, 0.2, 0.1])
    like = next(row for row in sheets["instruments.csv"] if row["tag"] == "VA-1")
    sheets["instruments.csv"].append(like | {"tag": "VA-8", "serial": "8"})
    for name in ("calibrations.csv", "comparisons.csv"):
        own = [row for row in sheets[name] if row["certificate"] == "C-2026"]
        sheets[name] += [row | {"tag": "VA-8", "certificate": "N-1"} for row in own]
    imported(empty_records, write(tmp_path / "in", sheets))
    document = calib("interval", "VA-8", *ON, "--json", records=empty_records).document
    assert (document["spread"]["own"], document["spread"]["family"]) == (0, 6)
    assert document["recommendation"]["action"] == "lengthen"
