"""An outlet or duct as it counts now with what was amended, as `calib outlet show` answers."""

from calib.faces.parts.photographs import photograph_lines
from calib.faces.plain_text import cells_text
from calib.faces.written import Content
from calib.procedures.on_record.outlets import OutletHistory

_LISTED = ("outlet", "revision", "amendments", "photographs")


def document(outlet: OutletHistory) -> Content:
    """Its cells, and each amendment."""
    return {
        "outlet": outlet.outlet,
        "revision": outlet.revision,
        **outlet.cells,
        "amendments": [
            {
                "revision": revision.revision,
                "changes": [
                    {"column": name, "before": old, "after": new} for name, (old, new) in revision.changes.items()
                ],
                "reason": revision.reason,
                "by": revision.person,
                "at": revision.time,
            }
            for revision in outlet.revisions
        ],
        "photographs": list(outlet.photographs),
    }


def text(answer: Content) -> str:
    """The same for people."""
    cells = {name: cell for name, cell in answer.items() if name not in _LISTED}
    head = f"{answer['outlet']}, revision {answer['revision']}"
    return "\n".join([head, cells_text(cells), *map(_amendment, answer["amendments"]), *photograph_lines(answer)])


def _amendment(amendment: Content) -> str:
    changes = ", ".join(
        f"{each['column']} {each['before'] or 'none'} → {each['after'] or 'none'}" for each in amendment["changes"]
    )
    return f"revision {amendment['revision']}, {amendment['at']}, {amendment['by']}: {changes} ({amendment['reason']})"
