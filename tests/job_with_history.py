"""The small job of tests.folders with earlier certificates of VA-1: its history, written out."""

from tests.folders import small_job

INDICATIONS = (0.66, 1.25, 2.49, 3.92, 5.86, 8.74, 13.60)
REFERENCES = (0.60, 1.20, 2.50, 4.00, 6.00, 9.00, 14.00)
# Days of the earlier certificates, and what the instrument then showed more than it does on C-101, relative to the indication.
DAYS = ("2022-01-10", "2023-01-16", "2024-01-08", "2025-02-03")
SHIFTS = (0.020, 0.012, 0.010, -0.006)


def sheets_with_history(days=DAYS, shifts=SHIFTS, tag="VA-1", accepted=True):
    """One certificate as found for each day; nothing was adjusted."""
    sheets = small_job()
    template = next(row for row in sheets["calibrations.csv"] if row["tag"] == "VA-1")
    comparisons = [row for row in sheets["comparisons.csv"] if row["tag"] == "VA-1"]
    for day, shift in zip(days, shifts, strict=True):
        said = {"tag": tag, "certificate": f"H-{day}", "calibrated_on": day, "accepted_on": day if accepted else ""}
        sheets["calibrations.csv"].append(template | said)
        for row in comparisons:
            shown = float(row["indication"]) * (1.0 + shift)
            moved = {"tag": tag, "certificate": f"H-{day}", "indication": f"{shown:.4f}"}
            sheets["comparisons.csv"].append(row | moved)
    return sheets


def errors(shift):
    """Indications and errors of a certificate of the history."""
    shown = [round(x * (1.0 + shift), 4) for x in INDICATIONS]
    return shown, [x - reference for x, reference in zip(shown, REFERENCES, strict=True)]
