"""`calib import` of single files and workbooks, and as a dry run. Common practice, no source."""

from tests.command import calib
from tests.folders import ledger_head, small_job, write

JOBS = "Our jobs;;\nJob;Decision rule;Title\nJ-9;Guarded;Hall\n"


def test_a_file_of_any_name_is_imported_and_what_was_taken_as_what_is_said(small_records, tmp_path):
    sheet = tmp_path / "ours.csv"
    sheet.write_text(JOBS)

    ran = calib("import", sheet, records=small_records)

    assert (ran.status, ran.out) == (0, "     1  job\n")
    for said in (
        "by its headings it is read as jobs.csv",
        "row 2 is the header",
        "'Guarded' is read as guarded (capitals)",
    ):
        assert said in ran.err
    assert "J-9" in calib("job", "list", records=small_records).out


def test_a_dry_run_says_what_would_be_written_and_writes_nothing(empty_records, tmp_path):
    before = ledger_head(empty_records)

    ran = calib("import", write(tmp_path / "in", small_job()), "--dry-run", records=empty_records)

    assert ran.status == 0
    assert "     4  instrument\n" in ran.out
    assert ran.err.endswith("nothing was written: --dry-run\n")
    assert ledger_head(empty_records) == before
    assert calib("job", "list", records=empty_records).out == "there is no job\n"


def test_a_dry_run_shows_each_row_as_it_would_be_written(small_records, tmp_path):
    sheet = tmp_path / "march.csv"
    sheet.write_text(
        "job;outlet;instrument;observed_at;unit;observations;method;operator\n"
        "J-1;S-1;VA-2;6.3.2026 9:12 +01:00;FPM;826;sweep;T. One\n"
    )
    ran = calib("import", sheet, "--dry-run", records=small_records)
    said = ran.out + ran.err

    assert f"would write 1 row of readings.csv, from {sheet}:" in ran.out
    assert (
        "  row 2: job J-1, outlet S-1, instrument VA-2, observed at 2026-03-06T09:12+01:00, unit fpm, observations 826, "
        "method sweep, operator T. One\n"
    ) in ran.out
    assert "wrote" not in said
    assert "recorded" not in said
    document = calib("import", sheet, "--dry-run", "--json", records=small_records).document
    assert document["would_write"]["readings.csv"][0]["observed_at"] == "2026-03-06T09:12+01:00"
    assert "would_write" not in calib("import", sheet, "--json", records=small_records).document


def test_of_a_long_sheet_a_dry_run_shows_the_first_rows_and_counts_the_others(small_records, tmp_path):
    sheet = tmp_path / "jobs.csv"
    sheet.write_text("job,title,decision_rule\n" + "".join(f"K-{count},Hall,simple\n" for count in range(25)))
    shown = calib("import", sheet, "--dry-run", records=small_records).out

    assert "would write 25 rows of jobs.csv" in shown
    assert ("job K-19," in shown, "job K-20," in shown) == (True, False)
    assert "  and 5 more\n" in shown


def test_rows_on_record_already_are_not_among_those_that_would_be_written(small_records, tmp_path):
    shown = calib("import", write(tmp_path / "in", small_job()), "--dry-run", records=small_records)

    assert "would write" not in shown.out
    assert "nothing new: nothing was written" in shown.err


def test_a_date_that_may_be_two_days_asks_for_their_order_and_takes_it(small_records, tmp_path):
    sheet = tmp_path / "certificates.csv"
    sheet.write_text("tag,certificate,laboratory,calibrated_on\nVA-1,C-9,North,03/04/2026\n")

    ran = calib("import", sheet, records=small_records)
    assert ran.status == 2
    assert "2026-04-03 or 2026-03-04: it may mean either (--dates dmy or mdy says which)" in ran.err

    assert "it may mean either" not in calib("import", sheet, "--dates", "dmy", records=small_records).err
    assert "--dates: 'ymd'; expected dmy or mdy" in calib("import", sheet, "--dates", "ymd", records=small_records).err


def test_a_sheet_that_is_none_of_the_files_is_refused_and_the_nearest_is_named(small_records, tmp_path):
    sheet = tmp_path / "ours.csv"
    sheet.write_text("job,title\nJ-9,Hall\n")

    ran = calib("import", sheet, records=small_records)

    assert ran.status == 2
    assert "its headings come nearest to jobs.csv, without decision_rule" in ran.err
