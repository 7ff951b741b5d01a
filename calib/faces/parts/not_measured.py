"""Outlets and ducts of a job that no reading stands of."""

from collections.abc import Iterator, Sequence

from calib.counted import count_of
from calib.faces.plain_text import one_line
from calib.faces.written import Content
from calib.procedures.measure.evaluate import Evaluation


def not_measured(evaluation: Evaluation) -> list[Content]:
    """Each with its system and service, in the order in which they were recorded."""
    return [
        {"outlet": outlet.outlet, "system": outlet.system, "service": outlet.service}
        for outlet in evaluation.not_measured
    ]


def not_measured_lines(outlets: Sequence[Content]) -> Iterator[str]:
    """That there are some, in one line; nothing where every outlet is measured."""
    if outlets:
        names = ", ".join(one_line(each["outlet"]) for each in outlets)
        yield f"{count_of(len(outlets), 'outlet is', 'outlets are')} not measured: {names}"
