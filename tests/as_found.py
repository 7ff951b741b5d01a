"""Second certificates whose comparisons as found have drifted, and what the records make of them; all invented."""

import copy
import json
from datetime import datetime, timedelta

from calib.procedures.measure.evaluate import evaluate
from calib.procedures.on_record.reviews import reviews
from calib.records import database
from tests.folders import NOW, imported, records_of, write

LATER = NOW + timedelta(days=30)
CALIBRATED = "2026-03-20"


def drifted(sheets, tag, by=1.04, certificate="D-1", calibrated_on=CALIBRATED, accepted_on="", **air):
    """Sheets with a second certificate: as found each indication is `by` times what it was, as left what it was."""
    old = next(one for one in sheets["calibrations.csv"] if one["tag"] == tag)
    row = old | {"certificate": certificate, "calibrated_on": calibrated_on, "accepted_on": accepted_on} | air
    own = [one | {"certificate": certificate} for one in sheets["comparisons.csv"] if one["tag"] == tag]
    found = [one | {"phase": "as-found", "indication": repr(float(one["indication"]) * by)} for one in own]
    left = [one | {"phase": "as-left"} for one in own]
    return {"calibrations.csv": [row], "comparisons.csv": [*found, *left]}


def as_if_found(sheets, second):
    """The sheets as they would be with the as-found comparisons, and the air, of a second certificate in those of the first."""
    tag, certificate = second["calibrations.csv"][0]["tag"], second["calibrations.csv"][0]["certificate"]
    other = copy.deepcopy(sheets)
    first = next(one for one in other["calibrations.csv"] if one["tag"] == tag)
    air = ("temperature_degC", "pressure_kPa", "humidity_percent")
    first |= {name: second["calibrations.csv"][0][name] for name in air}
    found = [
        one | {"certificate": first["certificate"]}
        for one in second["comparisons.csv"]
        if one["certificate"] == certificate and one["phase"] == "as-found"
    ]
    other["comparisons.csv"] = [one for one in other["comparisons.csv"] if one["tag"] != tag] + found
    return other


def added(records, folder, sheets, now=LATER):
    """Import more sheets into records that are there."""
    return imported(records, write(folder, sheets), now=now)


def reviewed(folder, sheets, second, now=LATER):
    """Records of the sheets into which the second certificate was imported later."""
    records = records_of(folder, sheets)
    added(records, folder / "second", second, now)
    return records


def review(records, tag, certificate="D-1"):
    """The review of a certificate."""
    with database.reading(str(records)) as session:
        return next(one for one in reviews(session) if (one.tag, one.certificate) == (tag, certificate))


def all_reviews(records):
    """Every review."""
    with database.reading(str(records)) as session:
        return reviews(session)


def listed(one):
    """Records of a review's lines."""
    return [(line.record_table, line.record) for line in one.lines]


def finding(one, table, record):
    """What a review says of one record."""
    return next(line.finding for line in one.lines if (line.record_table, line.record) == (table, record))


def stated_flows(records, job, now=LATER):
    """Value, U, k [SI] and statement of each reading, from an evaluation of the job."""
    with database.reading(str(records)) as session:
        found = evaluate(session, job, now)
        return {
            one.reading.id: (
                found.flow.value[row],
                found.flow.expanded_uncertainty[row],
                found.flow.coverage_factor[row],
                str(found.judgement.statement[row]),
            )
            for row, one in enumerate(found.measured)
        }


PER_UNIT = {"m3/h": 3600.0, "L/s": 1000.0, "m3/s": 1.0}


def stated_in(one, when):
    """Value, U, k [SI] and statement of a line, before or after."""
    per = PER_UNIT[one["unit"]]
    value = one[when]
    return (
        value["value"] / per,
        value["expanded_uncertainty"] / per,
        value["coverage_factor"],
        one[f"statement_{when}"] or "",
    )


def at(text):
    """A time."""
    return datetime.fromisoformat(text)


def document(text):
    """JSON that the records keep."""
    return json.loads(text)
