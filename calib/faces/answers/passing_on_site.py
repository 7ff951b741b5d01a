"""The indications that would pass at the outlets of a job, as a device compares digits with them."""

from calib.faces.answers.entered_reading import ends_inside, ends_of_passing
from calib.faces.written import Content
from calib.procedures.plan.passing_indications import PassingIndications


def document(passing: PassingIndications) -> Content:
    """The unit, and by outlet the ends rounded to the inside; one that is absent is none."""
    ends = {outlet: ends_of_passing(each) for outlet, each in passing.of_outlets.items()}
    return {
        "unit": passing.unit,
        "outlets": {
            outlet: dict(zip(("from", "to"), ends_inside(each), strict=True))
            for outlet, each in ends.items()
            if each is not None
        },
    }
