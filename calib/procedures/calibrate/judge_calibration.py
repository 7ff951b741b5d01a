"""Judge a calibration on file as it stands: each phase by the rule it was accepted by, and which comparisons stand out."""

from calib.confirmation.words import SIMPLE
from calib.curves.choice import whitened
from calib.curves.diagnosis import outliers
from calib.curves.response import fit_of
from calib.errors import BadInputError
from calib.procedures.calibrate.accept_calibration import AcceptanceWanted, assessed
from calib.procedures.certificate.assess import Assessment
from calib.procedures.certificate.fit_curve import comparisons_in_si
from calib.procedures.on_record.calibrations import CalibrationOnFile
from calib.procedures.on_record.in_force import curve_of
from calib.records.record import typed
from calib.records.tables.comparisons import Comparison
from calib.records.words import PHASES


def assessments_of(calibration: CalibrationOnFile) -> list[Assessment]:
    """Comparisons of each phase against the maximum permissible error, under the rule it was accepted by, or the simple one.

    None of a phase that cannot be judged: as found outside the curve's interval, say.
    """
    rule = SIMPLE if calibration.acceptance is None else calibration.acceptance.decision_rule or SIMPLE
    judgements = []
    for phase in PHASES:
        if any(each.phase == phase for each in calibration.comparisons):
            try:
                judgements.append(assessed(calibration, AcceptanceWanted(rule), phase))
            except BadInputError:
                continue
    return [judgement for judgement in judgements if judgement is not None]


def outliers_of(calibration: CalibrationOnFile) -> list[tuple[int, Comparison]]:
    """Comparisons that stand out at 5 % from the curve that counts, each with its place among those it was made from."""
    used = [each for each in calibration.comparisons if each.phase == calibration.curve.phase]
    points = comparisons_in_si(typed(calibration.instrument), [typed(each) for each in used])
    fit = fit_of(curve_of(calibration.curve.parameters))
    return [(place, used[place]) for place in outliers(whitened(fit, points))]
