"""`calib method` as a person types it."""

import re
import shlex

import numpy as np
import pytest

from tests.command import calib, copied
from tests.factor_pairs import OF_TYPE, expected_pairs, paired_job
from tests.folders import ledger_head, records_of


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return records_of(tmp_path_factory.mktemp("pairs"), paired_job())


@pytest.fixture
def records(made, tmp_path):
    return copied(made, tmp_path / "records.sqlite")


def compare(records, *options, pairs=OF_TYPE, name="sweep"):
    return calib(
        "method", "compare", name, *(word for pair in pairs for word in ("--pair", pair)), *options, records=records
    )


# --- add, list -------------------------------------------------------------------------------------------------------------------

ADD = ("method", "add", "sweep 2", "--uncertainty", "1.8", "--basis", "30 pairs")


def test_a_method_is_added_and_listed(records):
    added = calib(*ADD, "--pattern", "sweep", "--degrees-of-freedom", "30", records=records)
    assert (added.status, added.out, added.err) == (0, "added the method sweep 2: 1.8 %\n", "")
    listed = calib("method", "list", records=records).out.splitlines()
    assert re.match(r"method +u \[%\] +dof +pattern +readings +basis$", listed[0])
    assert re.match(r"sweep 2 +1\.8 +30 +sweep +0 +30 pairs$", listed[3])
    assert re.match(r"sweep +2\.5 +- +sweep +6 +24 sweeps", listed[2])


def test_the_share_of_points_below_the_lowest_comparison_is_declared_and_listed(records):
    assert calib(*ADD, "--share-below-interval-percent", "5", records=records).status == 0
    listed = calib("method", "list", records=records).out.splitlines()
    assert re.match(r"method +u \[%\] +dof +low \[%\] +pattern +readings +basis$", listed[0])
    assert re.match(r"sweep 2 +1\.8 +- +5 +- +0 +30 pairs$", listed[3])
    refused = calib("method", "add", "m", *ADD[3:], "--share-below-interval-percent", "101", records=records)
    assert "--share-below-interval-percent: '101'; expected a percentage, 0 to 100" in refused.err


def test_what_was_added_is_what_was_typed(records):
    document = calib(*ADD, "--json", records=records).document
    assert document == {"method": "sweep 2", "relative_standard_uncertainty_percent": "1.8", "basis": "30 pairs"}
    (kept,) = [
        one
        for one in calib("method", "list", "--json", records=records).document["methods"]
        if one["method"] == "sweep 2"
    ]
    assert {name: value for name, value in kept.items() if value not in (None, 0)} == document


@pytest.mark.parametrize(
    ("option", "value", "expected"),
    [
        ("--uncertainty", "2.5 m/s", "a percentage, 0 to 100"),
        ("--uncertainty", "-1", "a percentage, 0 to 100"),
        ("--basis", " ", "a value"),
        ("--pattern", "waving", "one of spot grid, sweep, centre, traverse, hood"),
        ("--degrees-of-freedom", "0", "a finite number, 1 or above"),
    ],
)
def test_a_wrong_option_is_named_as_it_was_typed(records, option, value, expected):
    before = ledger_head(records)
    given = dict(zip(ADD[3::2], ADD[4::2], strict=True)) | {option: value}
    told = calib(*ADD[:3], *(word for pair in given.items() for word in pair), records=records)
    assert (told.status, told.out) == (2, "")
    assert re.fullmatch(rf"error: command line, {option}: .*expected {expected}\n", told.err)
    assert ledger_head(records) == before


def test_a_name_stands_once(records):
    told = calib("method", "add", "sweep", "--uncertainty", "1", "--basis", "x", records=records)
    assert told.status == 2
    assert told.err.startswith("error: command line, NAME: 'sweep'; expected a new one")


# --- compare ---------------------------------------------------------------------------------------------------------------------


def test_the_figures_are_those_of_the_pairs(records):
    traverse, face, area = expected_pairs(paired_job(), 6)
    d = 100 * (face * area * 0.85 / traverse - 1)
    one = compare(records, "--json").document
    assert [each["difference_percent"] for each in one["pairs"]] == pytest.approx(d, rel=1e-5)
    assert [each["flow_of_traverse"] for each in one["pairs"]] == pytest.approx(3600 * traverse)
    assert one["mean_percent"] == pytest.approx(np.mean(d), rel=1e-5)
    assert one["standard_deviation_percent"] == pytest.approx(np.std(d, ddof=1), rel=1e-5)
    assert one["proposed_standard_uncertainty_percent"] == pytest.approx(np.sqrt(np.mean(d**2)), rel=1e-5)
    assert (one["declared_standard_uncertainty_percent"], one["proposed_degrees_of_freedom"]) == (2.5, 6)


def test_it_is_told_with_bias_scatter_proposal_and_what_is_declared(records):
    one, told = compare(records, "--json").document, compare(records)
    assert (told.status, told.err) == (0, "")
    assert told.out.startswith("sweep beside traverses, 6 pairs\n")
    assert re.search(
        rf"^mean difference \(bias\) +\{one['mean_percent']:+.2f} +u = 0\.\d+; .*p = ", told.out, re.MULTILINE
    )
    assert re.search(r"^standard deviation s +\d\.\d+ +of one difference, 5 dof$", told.out, re.MULTILINE)
    assert re.search(r"^explained +\d\.\d+ ", told.out, re.MULTILINE)
    assert re.search(
        r"^proposed u +\d\.\d+ +root mean square about 0, 6 dof; at most \d\.\d+ \(95 %\)$", told.out, re.MULTILINE
    )
    assert re.search(r"^declared u +2\.5 +24 sweeps against duct traverses \(exactly known\)$", told.out, re.MULTILINE)
    for caution in one["cautions"]:
        assert f"caution: {caution}\n" in told.out


def test_nothing_is_written(records):
    before = ledger_head(records)
    assert compare(records).status == 0
    assert ledger_head(records) == before


def test_what_it_says_to_type_declares_the_proposal_under_a_new_name(records):
    one = compare(records, "--json").document
    assert compare(records).out.endswith(f"if the company adopts it:\n  {one['to_adopt_it']}\n")
    words = shlex.split(one["to_adopt_it"])
    assert calib(*words[1:], records=records).status == 0
    kept = {each["method"]: each for each in calib("method", "list", "--json", records=records).document["methods"]}
    new = kept[words[3]]
    (kind,) = one["kinds"]
    for part in ("common", "own"):
        for figure in ("standard_uncertainty_percent", "degrees_of_freedom"):
            assert float(new[f"{part}_{figure}"]) == pytest.approx(kind[f"{part}_{figure}"], rel=0.05)
    assert (new["relative_standard_uncertainty_percent"], new["degrees_of_freedom"]) == (None, None)
    assert (kind["jobs"], kind["pairs"], kind["own_degrees_of_freedom"], new["pattern"]) == (["J-1"], 6, 5, "sweep")
    assert new["basis"] == f"6 pairs with traverses: {', '.join(OF_TYPE)}; grille G supply in J-1"
    assert "one job tells nothing of others: these figures hold for J-1" in compare(records).out


def test_both_figures_of_a_method_or_neither_are_declared(records):
    told = calib("method", "add", "m", "--common", "2", "--basis", "b", records=records)
    assert (told.status, told.out) == (2, "")
    assert told.err == (
        "error: command line, --own: blank; expected a percentage beside --common, 0 where there is none: both or neither\n"
    )
    added = calib("method", "add", "m", "--common", "2", "--own", "1.5", "--basis", "b", records=records)
    assert (added.status, added.out) == (0, "added the method m: 2 % common, 1.5 % own\n")
    listed = calib("method", "list", records=records).out.splitlines()
    assert re.match(r"method +u \[%\] +dof +common \[%\] +dof +own \[%\] +dof +pattern +readings +basis$", listed[0])


@pytest.mark.parametrize(
    ("options", "named"),
    [
        (
            ("--uncertainty", "3", "--own", "1"),
            "--own: '1'; expected nothing beside --uncertainty",
        ),
        ((), "--uncertainty: blank; expected a percentage, 0 to 100; or instead both"),
        (("--own", "1"), "--common: blank; expected a percentage beside --own"),
        (
            ("--common", "1", "--own", "1", "--degrees-of-freedom", "9"),
            "--degrees-of-freedom: '9'; expected nothing without",
        ),
        (
            ("--uncertainty", "3", "--own-degrees-of-freedom", "9"),
            "--own-degrees-of-freedom: '9'; expected nothing without",
        ),
        (("--common", "1", "--own", "-1"), "--own: '-1'; expected a percentage, 0 to 100"),
    ],
)
def test_what_does_not_go_with_the_figures_is_named(records, options, named):
    before = ledger_head(records)
    told = calib("method", "add", "m", *options, "--basis", "b", records=records)
    assert (told.status, told.out) == (2, "")
    assert len(told.err.splitlines()) == 1
    assert named in told.err
    assert ledger_head(records) == before


def test_units_are_those_asked_for(records):
    metric, one = compare(records, "--json").document, compare(records, "--units", "ip", "--json").document
    assert one["pairs"][0]["unit"] == "cfm"
    assert one["pairs"][0]["flow"] == pytest.approx(metric["pairs"][0]["flow"] / 3600 / 0.3048**3 * 60)
    assert one["pairs"][0]["difference_percent"] == metric["pairs"][0]["difference_percent"]


def test_every_mistake_is_a_line(records):
    told = compare(records, pairs=("1:7", "2", "3:3"))
    assert (told.status, told.out) == (2, "")
    assert len(told.err.splitlines()) == 2
    assert all(line.startswith("error: command line, --pair: ") for line in told.err.splitlines())


def test_a_method_that_is_not_there_is_named(records):
    told = compare(records, name="waving")
    assert (told.status, told.err) == (2, "error: no method 'waving' in the records: there is spot, sweep, traverse\n")
