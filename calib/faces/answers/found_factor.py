"""A factor that was just found, as `calib factor find` answers: with the flows and velocities of its pairs."""

from collections.abc import Iterable

from calib.faces.parts.factor_revision import head_text, revision, tables_text
from calib.faces.parts.value_in_unit import value_in, velocity_unit
from calib.faces.plain_text import command_text
from calib.faces.written import Content
from calib.procedures.factors.factors_on_file import FactorOnFile
from calib.procedures.on_record.flow_unit import flow_unit
from calib.procedures.pairs.factor_from_pairs import FactorFound
from calib.procedures.pairs.paired_readings import Paired, flow, measured, velocity

# Cells of an outlet that make room for a factor found in the field.
_IN_PLACE_OF = (
    "outlet_factor", "outlet_factor_standard_uncertainty", "outlet_factor_source", "outlet_factor_reason",
    "effective_area", "effective_area_unit", "effective_area_standard_uncertainty",
)  # fmt: skip


def document(factor: FactorFound, on_file: FactorOnFile, units: str | None = None) -> Content:
    """The factor as it was recorded, and what to type to use it."""
    recorded = revision(on_file, units)
    pairs = [each | _measured(pair, units) for each, pair in zip(recorded["pairs"], factor.pairs, strict=True)]
    return recorded | {"pairs": pairs, "to_use_it": [command_text(words) for words in _amending(factor)]}


def _measured(pair: Paired, units: str | None) -> Content:
    in_flow = flow_unit(measured(pair.traverse).outlet, units)
    in_velocity = velocity_unit(measured(pair.other).reading.unit, units)
    return {
        "flow": value_in(in_flow, flow(pair.traverse)),
        "velocity": value_in(in_velocity, velocity(pair.other)),
    }


def _amending(factor: FactorFound) -> Iterable[list[str]]:
    """For each outlet of the pairs that has not got the factor yet, the words of the command that gives it."""
    name, count = factor.record.factor, len(factor.pairs)
    faces = [measured(pair.other) for pair in factor.pairs]
    jobs = {face.outlet.id: pair.other.evaluation.job.job for face, pair in zip(faces, factor.pairs, strict=True)}
    for outlet in {face.outlet.id: face.outlet for face in faces}.values():
        if outlet.found_factor != name:
            blank = [f"{column}=" for column in _IN_PLACE_OF if getattr(outlet, column) is not None]
            cells = [word for cell in (*blank, f"found_factor={name}") for word in ("--set", cell)]
            words = ["outlet", "amend", jobs[outlet.id], outlet.outlet, *cells]
            yield [*words, "--reason", f"factor found from {count} traverses"]


def text(answer: Content) -> str:
    """The same for people."""
    lines = [head_text(answer), "", tables_text(answer)]
    if answer["to_use_it"]:
        lines += ["", "to use it:", *(f"  {line}" for line in answer["to_use_it"])]
    return "\n".join(lines)
