"""An outlet or duct as it counts now with what was amended, as `calib outlet show` answers."""

from calib.faces.plain_text import cells_text
from calib.faces.written import Content
from calib.procedures.on_record.outlets import OutletHistory


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
    }


def text(answer: Content) -> str:
    """The same for people."""
    cells = {name: cell for name, cell in answer.items() if name not in ("outlet", "revision", "amendments")}
    head = f"{answer['outlet']}, revision {answer['revision']}"
    return "\n".join([head, cells_text(cells), *(_amendment(each) for each in answer["amendments"])])


def _amendment(amendment: Content) -> str:
    changes = ", ".join(
        f"{each['column']} {each['before'] or 'none'} → {each['after'] or 'none'}" for each in amendment["changes"]
    )
    return f"revision {amendment['revision']}, {amendment['at']}, {amendment['by']}: {changes} ({amendment['reason']})"
