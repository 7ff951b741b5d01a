"""Answers for people: what stands in the lines that commands print. Source: `calib help` (demo, commands)."""

import os

import pytest

from tests.command import calib
from tests.folders import HEADERS

DAY = ("--on", "2026-03-05")


def lines(*words, records):
    return calib(*words, records=records).out.splitlines()


def test_an_instrument_s_cells_stand_in_the_order_of_the_register(small_records):
    shown = [
        line.partition(":")[0].strip() for line in lines("instrument", "show", "VA-1", *DAY, records=small_records)[1:]
    ]
    expected = [name.replace("_", " ") for name in HEADERS["instruments.csv"]]
    assert [name for name in shown[: shown.index("calibrations")] if name in expected] == expected


def test_ready_names_certificate_interval_and_due_date(small_records):
    assert lines("ready", "VA-1", *DAY, records=small_records) == [
        "VA-1: may be used on 2026-03-05",
        "  vane for air velocity, indications 0.66 m/s to 13.60 m/s",
        "  certificate C-101 (North Laboratory) of 2026-01-12, due 2027-01-12",
    ]


def test_ready_says_what_an_indication_means(small_records):
    """tests/worked_cases/worked_vane: 4.20 m/s means 4.27557 m/s."""
    told = "\n".join(lines("ready", "VA-1", *DAY, "--at", "4.20 m/s", records=small_records))
    assert "an indication of 4.2 m/s means (4.28 ± 0.1" in told


def test_ready_tells_the_reason_of_a_refusal(small_records):
    first, reason = lines("ready", "VA-1", "--on", "2027-01-13", records=small_records)
    assert first == "VA-1: do not use on 2027-01-13"
    assert reason.startswith(
        "  calibration C-101 of 2026-01-12 was due on 2027-01-12, 1 day before 2027-01-13: have it recalibrated"
    )


def test_due_puts_the_most_urgent_first(small_records):
    table = lines("due", "--on", "2027-01-14", "--within", "30d", records=small_records)
    assert [line.split()[:4] for line in table[1:]] == [
        ["VA-1", "2027-01-12", "-2", "C-101"],
        ["RS-1", "2027-01-14", "0", "C-103"],
        ["PG-1", "2027-01-15", "1", "C-104"],
        ["VA-2", "2027-02-02", "19", "C-102"],
    ]


@pytest.mark.parametrize(
    ("within", "tags"),
    [("0d", ["RS-1"]), ("1", ["RS-1", "PG-1"]), ("1d", ["RS-1", "PG-1"]), ("3w", ["RS-1", "PG-1", "VA-2"])],
)
def test_due_looks_ahead_as_far_as_it_is_asked(small_records, within, tags):
    found = calib("due", "--on", "2027-01-14", "--within", within, "--json", records=small_records).document[
        "instruments"
    ]
    assert [one["tag"] for one in found if not one["overdue"]] == tags


def test_nothing_due_is_said(small_records):
    assert lines("due", "--on", "2026-03-05", "--within", "10d", records=small_records) == [
        "nothing is overdue on 2026-03-05, and nothing comes due within 10 days"
    ]


def test_a_calibration_shows_its_curve_and_which_candidate_it_is(small_records):
    """tests/worked_cases/worked_vane: c(x) = -0.08856 + 0.039079 x; degree 0 is rejected, degree 1 kept."""
    told = lines("calibration", "show", "VA-1", records=small_records)
    assert any("c(x) = −0.0885" in line and "+ 0.03907" in line for line in told)
    assert "what it was chosen from: calib calibration candidates VA-1 C-101" in told
    told = lines("calibration", "candidates", "VA-1", records=small_records)
    (chosen,) = [line for line in told if line.endswith("<- chosen")]
    assert chosen.split()[0] in ("1", "degree")
    assert any("  rejected" in line for line in told)


def test_a_plot_is_drawn_to_a_file(small_records, tmp_path):
    for ending, begins in ((".svg", b"<?xml"), (".png", b"\x89PNG"), (".pdf", b"%PDF")):
        assert (
            calib("calibration", "show", "VA-1", "--plot", tmp_path / f"curve{ending}", records=small_records).status
            == 0
        )
        assert (tmp_path / f"curve{ending}").read_bytes().startswith(begins)


def test_readings_are_listed_with_u_and_k(small_records):
    table = lines("reading", "list", "J-1", records=small_records)
    assert len(table) == 5
    assert all(" ± " in line and "k = 2." in line for line in table[1:])


def test_tables_keep_their_columns_under_their_headings(small_records):
    header, *rows = lines("instrument", "list", *DAY, records=small_records)
    place = header.index("certificate")
    assert [row[place : place + 5] for row in rows] == ["C-104", "C-103", "C-101", "C-102"]


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="nothing is closed to the superuser")
def test_records_in_a_closed_folder_are_told(tmp_path):
    (tmp_path / "closed").mkdir(mode=0o000)
    for words in (("init",), ("due",), ("verify",)):
        ran = calib(*words, records=tmp_path / "closed" / "records.sqlite")
        assert (ran.status, ran.out) == (2, "")
