"""Chains of traceability, as `calib trace` answers: knots and links for machines, a drawn tree for people."""

from collections.abc import Iterator, Mapping

from calib.confirmation.traceability import Branch, Record
from calib.faces.parts.two_days import accepted_on
from calib.faces.plain_text import one_line
from calib.faces.written import Content
from calib.procedures.impact.trace import UP, Trace

# Roles that are plain from what is drawn.
_NOT_SAID = ("", "of", "reading", "outlet factor", "conditions of the air")
_APART = ("job", "report")  # kinds listed below the tree of what hangs on a record
_INDENT, _LAST = "   ", "└─ "
_BAR, _NEXT = "│  ", "├─ "


def document(trace: Trace) -> Content:
    """Nodes with what they say, and edges: `from` rests on `to`, as `role` says; `tree` is how they are drawn."""
    names = {record: knot.name for record, knot in trace.knots.items()}
    up = trace.direction == UP
    answer = {
        "of": names[trace.start],
        "direction": trace.direction,
        "nodes": [
            {"id": knot.name, "kind": knot.kind, **knot.says}
            | ({"gaps": list(knot.gaps), "reviews": list(knot.reviews)} if up else {})
            for knot in trace.knots.values()
        ],
        "edges": [
            {
                "from": names[link.record],
                "to": names[link.on],
                "role": link.role,
                "on": None if link.day is None else str(link.day),
            }
            for link in trace.links
        ],
        "tree": _branch(trace.tree, {record: place for place, record in enumerate(names)}),
    }
    if up:
        return answer | {"complete": not trace.gaps, "gaps": list(trace.gaps), "taken_over": list(trace.taken_over)}
    kinds = [knot.kind for record, knot in trace.knots.items() if record != trace.start]
    return answer | {"counts": {kind: kinds.count(kind) for kind in dict.fromkeys(kinds)}}


def _branch(branch: Branch, places: Mapping[Record, int]) -> Content:
    """A node in its role, and what was reached from it; `again`, `on_itself` and `branches` only where they are so."""
    closed = {"again": branch.again, "on_itself": branch.on_itself}
    branches = [_branch(each, places) for each in branch.branches]
    return (
        {"node": places[branch.record], "role": branch.role}
        | {name: True for name, holds in closed.items() if holds}
        | ({"branches": branches} if branches else {})
    )


# --- for people ------------------------------------------------------------------------------------------------------------------


def text(answer: Content) -> str:
    """The same as a tree."""
    return "\n".join(_up(answer) if answer["direction"] == UP else _down(answer))


def _up(answer: Content) -> Iterator[str]:
    yield from _lines(answer, answer["tree"], "", "")
    yield ""
    if not answer["gaps"]:
        yield "every branch ends at an accredited certificate that was valid on its day"
    for gap in answer["gaps"]:
        yield f"gap: {gap}"
    for node in answer["nodes"]:
        for review in node["reviews"]:
            told = f"{node.get('tag') or node['id']}: {review}"
            if told not in answer["gaps"]:
                yield f"review: {told}"
    yield from map(one_line, answer["taken_over"])


def _down(answer: Content) -> Iterator[str]:
    if len(answer["nodes"]) == 1:
        yield f"nothing hangs on {answer['of']}"
        return
    yield from _lines(answer, answer["tree"], "", "")
    start = answer["nodes"][answer["tree"]["node"]]
    for kind in _APART:
        names = [node["id"] for node in answer["nodes"] if node["kind"] == kind and node is not start]
        if names:
            yield ""
            yield from names


def _lines(answer: Content, branch: Content, before: str, below: str, above: str = "") -> Iterator[str]:
    node = answer["nodes"][branch["node"]]
    texts = _texts(node, branch, up=answer["direction"] == UP)
    if above == "instrument" and len(texts) > 1:
        texts = texts[1:]  # its instrument stands above it
    yield before + texts[0]
    for line in texts[1:]:
        yield below + _LAST + line
        below += _INDENT
    shown = [
        each
        for each in branch.get("branches", ())
        if answer["direction"] == UP or answer["nodes"][each["node"]]["kind"] not in _APART
    ]
    for each in shown:
        sign, further = (_LAST, _INDENT) if each is shown[-1] else (_NEXT, _BAR)
        yield from _lines(answer, each, below + sign, below + further, node["kind"])


def _texts(node: Content, branch: Content, *, up: bool) -> list[str]:
    """An instrument stands above its certificate; everything else is one line."""
    role = "" if branch["role"] in _NOT_SAID else branch["role"]
    first = f"{role} " if up and role else ""
    as_what = f" (as {role})" if not up and role else ""
    # A reading at a face may be evaluated with the factor that was found from it: no circle of calibrations.
    circle = "on_itself" in branch and node["kind"] == "certificate"
    again = {"again", "on_itself"} & branch.keys()
    end = as_what + (" (rests on itself)" if circle else " (see above)" if again else "")
    if node["kind"] == "certificate":
        return [f"{first}{node['tag']}: {node['instrument']}", _certificate(node) + end]
    if node["kind"] == "instrument":
        described = f"{node['instrument_kind']}, {node['maker']} {node['model']}, serial {node['serial']}"
        return [f"{first}{node['tag']}: {described}{end}"]
    return [first + _plain(node) + end]


def _certificate(node: Content) -> str:
    accreditation = node["accreditation"] if node["accredited"] else "no accreditation on record"
    accepted = f"accepted {accepted_on(node)}" if node["accepted_on"] else "not accepted"
    accepted = "withdrawn" if node["withdrawn"] else accepted
    return (
        f"certificate {node['certificate']}, {node['laboratory']}, {accreditation}, calibrated {node['calibrated_on']}, "
        f"{accepted}, valid through {node['due_on']}{_stated(node['expanded_uncertainty'])}"
    )


def _stated(uncertainty: Content | None) -> str:
    if uncertainty is None:
        return ""
    both = dict.fromkeys((uncertainty["lowest"], uncertainty["highest"]))
    return f", U = {' to '.join(both)} {uncertainty['unit']} (k = {', '.join(uncertainty['coverage_factors'])})"


def _plain(node: Content) -> str:
    if node["kind"] == "reading":
        return f"{node['id']}: {node['outlet']} of {node['job']}, {node['observed_at']}, with {node['instrument']}"
    if node["kind"] == "factor":
        where = f"outlet {node['outlet']}" if node["outlet"] else f"type {node['outlet_type']}"
        return f"{node['id']}: K = {node['value']:.4g}, {where}{'' if node['counts'] else ', superseded'}"
    return str(node["id"])
