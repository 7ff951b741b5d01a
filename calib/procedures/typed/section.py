"""The section of a duct or an opening, from its sizes as they are typed."""

from calib.airflow.traverse import ROUND, Section
from calib.quantities import unit


def section_from(shape: str, sizes: tuple[str | None, str | None, str | None], symbol: str) -> Section:
    """The section of a shape from width, height and diameter as typed in a unit; raises CalibError."""
    length = unit("length", symbol)
    width, height, diameter = (length.to_si(float(size or 0)) for size in sizes)
    return Section(shape, diameter, diameter) if shape == ROUND else Section(shape, width, height)
