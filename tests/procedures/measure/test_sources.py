"""Outlets whose factor has the same source share its error, however they spell it.

Sources: JCGM 100:2008, 5.2.2 (what is shared adds within a sum); the package GTC, which propagates uncertain numbers without
anything of `calib` (tests/independent_model.py).
"""

import GTC
import numpy as np
import pytest

from calib.procedures.measure.evaluate import evaluate
from calib.records import database
from tests.folders import NOW, imported, records_of, small_job, write
from tests.independent_model import Model

SPELLINGS = ["Maker's sheet 12", "makers sheet 12", "MAKER'S  SHEET 12", "Makers-sheet 12."]
SOURCE = {
    "source": "Maker's sheet 12",
    "document": "Data sheet 12",
    "edition": "2024",
    "basis": "measured by the maker",
}


def four_outlets(names):
    """The small job with four supply outlets whose factor of a tenth of uncertainty comes from sources of these names."""
    sheets = small_job()
    first, reading = sheets["outlets.csv"][0], sheets["readings.csv"][0]
    sheets["outlets.csv"] = [
        first | {"outlet": f"S-{place}", "outlet_factor_standard_uncertainty": "0.084", "outlet_factor_source": name}
        for place, name in enumerate(names, start=1)
    ]
    sheets["readings.csv"] = [
        reading | {"outlet": f"S-{place}", "observed_at": f"2026-03-05T09:{10 + place}+01:00"}
        for place, _ in enumerate(names, start=1)
    ]
    return sheets


def numbers(values, covariance, dof, name):
    u = np.sqrt(np.diag(covariance))
    pair = GTC.multiple_ureal(values, u.tolist(), dof, label_seq=[f"{name} {k}" for k in range(len(values))])
    GTC.set_correlation(float(covariance[0, 1] / u[0] / u[1]), *pair)
    return pair


def by_gtc(names):
    model = Model(four_outlets(names), lambda value, u, dof, _name: GTC.ureal(value, u, dof), numbers)
    return model.total("supply")


def u_of_supply(records):
    with database.reading(str(records)) as session:
        evaluation = evaluate(session, "J-1", NOW)
    row = [total.service for total in evaluation.totals].index("supply")
    return evaluation.of_systems.flow.combined.standard_uncertainty[row]


def test_four_spellings_of_one_source_are_one_error_and_no_four(tmp_path):
    u = u_of_supply(records_of(tmp_path, four_outlets(SPELLINGS)))
    assert u == pytest.approx(by_gtc(["one"] * 4).u, rel=1e-9)
    assert u > 1.4 * by_gtc(SPELLINGS).u


def test_two_sources_are_two_errors(tmp_path):
    names = ["Maker's sheet 12", "Maker's sheet 13"] * 2
    assert u_of_supply(records_of(tmp_path, four_outlets(names))) == pytest.approx(by_gtc(names).u, rel=1e-9)


def test_a_recorded_spelling_makes_outlets_share_what_they_did_not_before(tmp_path):
    names = [SPELLINGS[0]] * 2 + ["grille table"] * 2
    records = records_of(tmp_path, four_outlets(names))
    assert u_of_supply(records) == pytest.approx(by_gtc(names).u, rel=1e-9)
    spelling = {"spelling": "Grille Table", "source": "maker's sheet 12", "reason": "the maker's word for it"}
    imported(records, write(tmp_path / "later", {"sources.csv": [SOURCE], "source_spellings.csv": [spelling]}))
    assert u_of_supply(records) == pytest.approx(by_gtc(["one"] * 4).u, rel=1e-9)


def test_editions_of_a_source_are_one_source(tmp_path):
    records = records_of(tmp_path, four_outlets(SPELLINGS))
    before = u_of_supply(records)
    editions = [SOURCE, SOURCE | {"source": "makers sheet 12", "edition": "2026"}]
    imported(records, write(tmp_path / "later", {"sources.csv": editions}))
    assert u_of_supply(records) == before
