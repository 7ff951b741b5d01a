"""Chains of traceability as answers: knots and links for machines, a drawn tree for people."""

from collections.abc import Iterator

from calib.confirmation.traceability import Branch
from calib.faces.written import Content
from calib.procedures.impact.knots import Knot
from calib.procedures.impact.trace import UP, Trace

# Roles that are plain from what is drawn.
_NOT_SAID = ("", "of", "reading", "outlet factor", "conditions of the air")
_APART = ("job", "report")  # kinds listed below the tree of what hangs on a record
_INDENT, _LAST = "   ", "└─ "
_BAR, _NEXT = "│  ", "├─ "


def trace(found: Trace) -> Content:
    """Nodes with what they say, and edges: `from` rests on `to`, as `role` says."""
    names = {record: one.name for record, one in found.knots.items()}
    document = {
        "of": names[found.start],
        "direction": found.direction,
        "nodes": [
            {"id": one.name, "kind": one.kind, **one.says} | ({"gaps": list(one.gaps)} if found.direction == UP else {})
            for one in found.knots.values()
        ],
        "edges": [
            {
                "from": names[link.record],
                "to": names[link.on],
                "role": link.role,
                "on": None if link.day is None else str(link.day),
            }
            for link in found.links
        ],
    }
    if found.direction == UP:
        return document | {"complete": not found.gaps, "gaps": list(found.gaps)}
    kinds = [one.kind for record, one in found.knots.items() if record != found.start]
    return document | {"counts": {kind: kinds.count(kind) for kind in dict.fromkeys(kinds)}}


def trace_text(found: Trace) -> str:
    """The same as a tree."""
    return "\n".join(_up(found) if found.direction == UP else _down(found))


def _up(found: Trace) -> Iterator[str]:
    yield from _lines(found, found.tree, "", "")
    yield ""
    if not found.gaps:
        yield "every branch ends at an accredited certificate that was valid on its day"
    for gap in found.gaps:
        yield f"gap: {gap}"


def _down(found: Trace) -> Iterator[str]:
    if len(found.knots) == 1:
        yield f"nothing hangs on {found.knots[found.start].name}"
        return
    yield from _lines(found, found.tree, "", "")
    for kind in _APART:
        names = [one.name for record, one in found.knots.items() if one.kind == kind and record != found.start]
        if names:
            yield ""
            yield from names


def _lines(found: Trace, branch: Branch, before: str, below: str, above: Knot | None = None) -> Iterator[str]:
    texts = _texts(found, branch)
    if above is not None and above.kind == "instrument" and len(texts) > 1:
        texts = texts[1:]  # its instrument stands above it
    yield before + texts[0]
    for text in texts[1:]:
        yield below + _LAST + text
        below += _INDENT
    shown = [one for one in branch.branches if found.direction == UP or found.knots[one.record].kind not in _APART]
    for one in shown:
        last = one is shown[-1]
        sign, further = (_LAST, _INDENT) if last else (_NEXT, _BAR)
        yield from _lines(found, one, below + sign, below + further, found.knots[branch.record])


def _texts(found: Trace, branch: Branch) -> list[str]:
    """An instrument stands above its certificate; everything else is one line."""
    one, up = found.knots[branch.record], found.direction == UP
    first = f"{branch.role} " if up and branch.role not in _NOT_SAID else ""
    as_what = f" (as {branch.role})" if not up and branch.role not in _NOT_SAID else ""
    # A reading at a face may be evaluated with the factor that was found from it: no circle of calibrations.
    circle = branch.on_itself and one.kind == "certificate"
    end = as_what + (" (rests on itself)" if circle else " (see above)" if branch.again or branch.on_itself else "")
    if one.kind == "certificate":
        return [f"{first}{one.says['tag']}: {one.says['instrument']}", _certificate(one) + end]
    if one.kind == "instrument":
        says = one.says
        described = f"{says['instrument_kind']}, {says['maker']} {says['model']}, serial {says['serial']}"
        return [f"{first}{says['tag']}: {described}{end}"]
    return [first + _plain(one) + end]


def _certificate(one: Knot) -> str:
    says = one.says
    accreditation = says["accreditation"] if says["accredited"] else "no accreditation on record"
    accepted = f"accepted {says['accepted_on']}" if says["accepted_on"] else "not accepted"
    accepted = "withdrawn" if says["withdrawn"] else accepted
    return (
        f"certificate {says['certificate']}, {says['laboratory']}, {accreditation}, calibrated {says['calibrated_on']}, "
        f"{accepted}, valid through {says['due_on']}{_stated(says['expanded_uncertainty'])}"
    )


def _stated(one: Content | None) -> str:
    if one is None:
        return ""
    both = dict.fromkeys((one["lowest"], one["highest"]))
    return f", U = {' to '.join(both)} {one['unit']} (k = {', '.join(one['coverage_factors'])})"


def _plain(one: Knot) -> str:
    says = one.says
    if one.kind == "reading":
        return f"{one.name}: {says['outlet']} of {says['job']}, {says['observed_at']}, with {says['instrument']}"
    if one.kind == "factor":
        where = f"outlet {says['outlet']}" if says["outlet"] else f"type {says['outlet_type']}"
        return f"{one.name}: K = {says['value']:.4g}, {where}{'' if says['counts'] else ', superseded'}"
    return one.name
