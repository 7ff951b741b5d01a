"""How far each flow of a job is correlated with each other, as `calib correlations` answers."""

from calib.arrays import finite
from calib.faces.answers.correlated_flows import r_text, r_words
from calib.faces.plain_text import table_text
from calib.faces.written import Content
from calib.procedures.measure.correlated_flows import CorrelationMatrix
from calib.procedures.measure.evaluate import Evaluation


def document(evaluation: Evaluation, matrix: CorrelationMatrix, system: str | None) -> Content:
    """The readings of the matrix, and its rows: between which values each coefficient lies."""
    measured = [evaluation.measured[row] for row in matrix.rows]
    return {
        "job": evaluation.job.job,
        "system": system,
        "readings": [{"reading": each.reading.id, "outlet": each.outlet.outlet} for each in measured],
        "r_low": [[finite(r) for r in row] for row in matrix.low.tolist()],
        "r_high": [[finite(r) for r in row] for row in matrix.high.tolist()],
    }


def text(answer: Content) -> str:
    """The same for people."""
    if not answer["readings"]:
        return "no flow counts yet"
    return "\n".join([*matrix_words(answer), table_text(matrix_headings(answer), matrix_rows(answer))])


def matrix_headings(answer: Content) -> tuple[str, ...]:
    """Heads of the table: the columns are called by their readings."""
    return "outlet", "reading", *(str(each["reading"]) for each in answer["readings"])


def matrix_rows(answer: Content) -> list[tuple[str, ...]]:
    """Rows of the table; a flow with itself is left blank."""
    return [
        (
            each["outlet"],
            str(each["reading"]),
            *("" if place == own else r_text(*ends) for place, ends in enumerate(zip(low, high, strict=True))),
        )
        for own, (each, low, high) in enumerate(zip(answer["readings"], answer["r_low"], answer["r_high"], strict=True))
    ]


def matrix_words(answer: Content) -> list[str]:
    """How r is read."""
    return r_words(is_unsure=answer["r_low"] != answer["r_high"])
