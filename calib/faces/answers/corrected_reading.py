"""A reading that was corrected, as `calib reading correct` answers."""

from calib.faces.parts.hung_on import hung_on_document, hung_on_lines
from calib.faces.written import Content
from calib.procedures.enter.correct_reading import CorrectedReading
from calib.procedures.on_record.corrected_readings import Correction


def document(corrected: CorrectedReading) -> Content:
    """Which reading, what took its place, and what hung on it."""
    return {
        "reading": corrected.reading,
        "outlet": corrected.outlet,
        "corrected": corrected.corrected,
        "refused": bool(corrected.reasons),
        "reasons": list(corrected.reasons),
        **hung_on_document(corrected.hung_on),
    }


def correction(made: Correction) -> Content:
    """A correction that stands on record: which reading took whose place, and each cell before and after."""
    return {
        "before": made.before,
        "after": made.after,
        "changes": [
            {"column": column.replace("_", " "), "before": before or "none", "after": after or "none"}
            for column, (before, after) in made.changes.items()
        ],
        **{name: cell for name, cell in made.taken_back.document().items() if name != "replaced_by"},
    }


def text(answer: Content) -> str:
    """The same for people."""
    what = f"reading {answer['reading']} at {answer['outlet']}"
    told = (
        f"{what} is withdrawn, and the corrected one is refused"
        if answer["corrected"] is None
        else f"{what} is corrected: reading {answer['corrected']} takes its place"
    )
    return "\n".join([told, *hung_on_lines(answer)])
