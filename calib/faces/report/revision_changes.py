"""What a revision of a report says otherwise than the one issued before it."""

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import partial
from math import isclose

from calib.faces.parts.review_on_job import decided_text
from calib.faces.report.causes_of_changes import causes_of_reading, causes_of_total
from calib.faces.written import Content, total_name
from calib.quantities import unit

_NUMBERS = ("value", "expanded_uncertainty")
_AS_ACCURATE = 1e-9  # two units of one number differ in its last bits
_FACTS = ("title", "site", "client", "decision_rule")


def revised(document: Content, before: bytes | None) -> Content:
    """A report's content with what changed since the revision before, which is given as it was issued, in JSON."""
    if before is None:
        return document
    earlier = json.loads(before)
    now = document | {"amendments": _as_printed_before(earlier, document)}
    return now | {"changes": content_changes(earlier, now)}


def _as_printed_before(earlier: Content, now: Content) -> list[Content]:
    """Amendments with each flow before as the revision before printed it, there as before or as the flow amended since."""
    told = {
        (each["record"], each["revision"], each["at"]): {flow["reading"]: flow["before"] for flow in each["flows"]}
        for each in earlier["amendments"]
    }
    stated = {reading["reading"]: reading["flow"] for reading in earlier["readings"]}

    def printed(amendment: Content, flow: Content) -> Content:
        before = told.get((amendment["record"], amendment["revision"], amendment["at"]), stated).get(flow["reading"])
        alike = before is not None and before["unit"] == flow["before"]["unit"]
        return flow | {"before": before} if alike else flow

    return [
        amendment | {"flows": [printed(amendment, flow) for flow in amendment["flows"]]}
        for amendment in now["amendments"]
    ]


def content_changes(before: Content, after: Content) -> list[Content]:
    """Each statement that changed, came or went: what it is of, what was said before, what is said now (None: nothing), and why."""
    return [
        *_compared(_facts(before), _facts(after)),
        *_flows_compared(_readings(before), _readings(after), partial(causes_of_reading, before, after)),
        *_flows_compared(_totals(before), _totals(after), partial(causes_of_total, before, after)),
        *_compared(_refusals(before), _refusals(after)),
        *_compared(_instruments(before), _instruments(after)),
        *_compared(_reviews(before), _reviews(after)),
    ]


def _compared(before: Mapping[str, str], after: Mapping[str, str]) -> Iterator[Content]:
    for what in dict.fromkeys([*before, *after]):
        if before.get(what) != after.get(what):
            yield _change(what, before.get(what), after.get(what))


def _flows_compared(
    before: Mapping[str, Content],
    after: Mapping[str, Content],
    causes: Callable[[Content | None, Content | None], list[str]],
) -> Iterator[Content]:
    """Flows are compared as they are said; in SI where they are said in two units, which is no change."""
    for what in dict.fromkeys([*before, *after]):
        earlier, now = before.get(what), after.get(what)
        if earlier is None or now is None or not _is_same(earlier, now):
            yield _change(what, _said(earlier), _said(now), causes(earlier, now))


def _change(what: str, before: str | None, after: str | None, because: Sequence[str] = ()) -> Content:
    return {"what": what, "before": before, "after": after, "because": list(because)}


def _is_same(earlier: Content, now: Content) -> bool:
    flows = earlier["flow"], now["flow"]
    if None in flows or flows[0]["unit"] == flows[1]["unit"]:
        return _said(earlier) == _said(now)
    in_si = [[unit("volume flow", flow["unit"]).to_si(flow[part]) for part in _NUMBERS] for flow in flows]
    alike = all(map(partial(isclose, rel_tol=_AS_ACCURATE), *in_si))
    return alike and _judged(earlier) == _judged(now)


def _facts(report: Content) -> dict[str, str]:
    return {name.replace("_", " "): report[name] for name in _FACTS if report[name]}


def _readings(report: Content) -> dict[str, Content]:
    return {f"flow at {reading['outlet']}, reading {reading['reading']}": reading for reading in report["readings"]}


def _said(stated: Content | None) -> str | None:
    """The flow of a reading or a total, its share of the design and its statement of conformity, as a reader sees them."""
    if stated is None:
        return None
    flow = stated["flow"]["statement"].replace("(-", "(−", 1) if stated["flow"] else "not measured"
    return ", ".join([flow, *_judged(stated)])


def _judged(stated: Content) -> list[str]:
    design = stated["design"] or {}
    share, judged = design.get("percent_of_design"), design.get("conformity")
    return [part for part in (f"{share:.1f} % of design" if share is not None else None, judged) if part]


def _totals(report: Content) -> dict[str, Content]:
    of_systems = {f"{total['system']}, {total_name(total)}": total for total in report["totals"]}
    of_job = {f"all systems, {total_name(total)}": total for total in report["job_totals"]}
    return of_systems | of_job | {f"room {total['room']}": total for total in report["rooms"]}


def _refusals(report: Content) -> dict[str, str]:
    return {
        f"refused reading at {each['outlet']} with {each['instrument']}, {each['observed_at']}": "; ".join(
            each["reasons"]
        )
        for each in report["refusals"]
    }


def _instruments(report: Content) -> dict[str, str]:
    return _joined(
        (f"certificate of {instrument['tag']}", instrument["certificate"]) for instrument in report["instruments"]
    )


def _reviews(report: Content) -> dict[str, str]:
    decided = {
        f"review {review['review']} of {review['instrument']}, {review['happened']}": decided_text(review)
        for review in report.get("reviews", ())
        if review["decision"] is not None
    }
    return decided | _joined(
        (f"open impact review of {review['instrument']}", review["certificate"] or review["happened"])
        for review in report["open_reviews"]
        if review["instrument"] is not None
    )


def _joined(pairs: Iterable[tuple[str, str]]) -> dict[str, str]:
    """An instrument may stand with several certificates."""
    joined: dict[str, str] = {}
    for name, word in pairs:
        joined[name] = f"{joined[name]}, {word}" if name in joined else word
    return joined
