"""The drift of the plant, as every answer on a job's flows says it."""

from calib.faces.written import Content, moment_text
from calib.procedures.measure.evaluate import Evaluation


def drift_document(evaluation: Evaluation) -> list[Content]:
    """What each repeated reading tells, in percent of the flow that was read first."""
    return [
        {
            "system": drift.system,
            "service": drift.service,
            "outlet": evaluation.measured[drift.first].outlet.outlet,
            "first_reading": evaluation.measured[drift.first].reading.id,
            "first_observed_at": evaluation.measured[drift.first].reading.observed_at,
            "repeat_reading": evaluation.measured[drift.repeat].reading.id,
            "repeated_at": evaluation.measured[drift.repeat].reading.observed_at,
            "drift_percent": 100.0 * drift.relative,
            "standard_uncertainty_percent": 100.0 * drift.standard_uncertainty,
            "carried_percent": 100.0 * drift.carried,
        }
        for drift in evaluation.drifts
    ]


def drift_sentence(drift: Content) -> str:
    """One of them in words."""
    changed = f"{drift['drift_percent']:+.1f}".replace("-", "−")
    return (
        f"plant drift, {drift['system']} {drift['service']}: {changed} % (u = {drift['standard_uncertainty_percent']:.1f} %) at "
        f"{drift['outlet']} from {moment_text(drift['first_observed_at'])} to {moment_text(drift['repeated_at'])}; carried: "
        f"{drift['carried_percent']:.1f} % in the u of each flow of that service, as one error"
    )
