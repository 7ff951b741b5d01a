"""What a reading proves as soon as it is recorded, as `calib reading add` and `traverse add` answer."""

import math
from collections.abc import Iterator, Sequence

from calib.arrays import finite
from calib.counted import count_of
from calib.faces.parts.reading_in_full import flow_content, reading_content
from calib.faces.plain_text import one_line
from calib.faces.written import Content
from calib.procedures.measure.evaluate import Evaluation
from calib.procedures.measure.verdict import Verdict

_DIGITS = 4  # of an indication that would pass: one more than most meters show


def document(verdict: Verdict, units: str | None) -> Content:
    """The reading with its flow and its design, the indications that would pass, what would settle it, what is left."""
    in_job = verdict.in_job
    reading = reading_content(in_job.evaluation, in_job.row, units)
    return {
        "job": in_job.evaluation.job.job,
        "refused": False,
        "reasons": [],
        **{
            name: reading[name]
            for name in (
                "outlet",
                "reading",
                "indication",
                "observations",
                "throttled_observations",
                "logged",
                "indication_unit",
                "traverse",
                "flow",
                "design",
                "flags",
            )
        },
        "passing_indications": ends_of_passing(verdict.passing),
        "settled": verdict.is_settled,
        "observations_to_settle": verdict.observations,
        "dominant_contribution": max(reading["contributions"], key=lambda each: each["variance_percent"])["name"],
        "outlets_left": [outlet.outlet for outlet in verdict.left],
    }


def ends_of_passing(passing: tuple[float, float] | None) -> Content | None:
    """The ends of the indications that would pass; an infinite one is absent."""
    if passing is None:
        return None
    low, high = map(finite, passing)
    return {"from": low, "to": high}


def refused_reading(job: str, outlet: str, reasons: Sequence[str]) -> Content:
    """A reading that the gate refused."""
    return {"job": job, "outlet": outlet, "refused": True, "reasons": list(reasons)}


def text(answer: Content) -> str:
    """The same for people."""
    before = answer.get("reading_before")
    read = "" if before is None else f"  {answer['outlet']} was read before, as reading {before}: both are on record\n"
    return f"{proven_text(answer)}\n{''.join(_values(answer))}{read}{_left(answer['outlets_left'])}"


def _values(answer: Content) -> Iterator[str]:
    """Which values it is from, so that one that went astray on the way is missed; of a log or a traverse nothing."""
    if answer["logged"] or answer["traverse"]:
        return
    passes, throttled = (_listed(answer[name]) for name in ("observations", "throttled_observations"))
    values = passes or f"the one indication {answer['indication']}"
    with_throttle = throttled and f", with the throttle set {throttled}"
    yield f"  from {values} {answer['indication_unit']}{with_throttle}\n"


def _listed(cell: str | None) -> str:
    return ", ".join(value.strip() for value in (cell or "").split(";"))


def proven_text(answer: Content) -> str:
    """What the reading proves, without what is left."""
    head = f"reading {answer['reading']}, {answer['outlet']}: {answer['flow']['statement']}{_judged(answer['design'])}"
    return "\n".join([head, *(f"  {line}" for line in (*would_pass(answer), *would_settle(answer), *flags(answer)))])


def _judged(design: Content | None) -> str:
    if design is None:
        return ", no design to judge by"
    of_design = share_of_design(design)
    return f"{of_design and f', {of_design}'}: {conformity_said(design)}"


def share_of_design(design: Content) -> str:
    """The percentage of the design flow; blank where the design has limits alone."""
    share = design["percent_of_design"]
    return "" if share is None else f"{share:.1f} % of design"


def conformity_said(design: Content) -> str:
    """The statement of conformity."""
    return str(design["conformity"] or "not judged")


def flags(answer: Content) -> list[str]:
    """What is to be said of the reading itself."""
    return [one_line(flag) for flag in answer["flags"]]


def would_pass(answer: Content) -> list[str]:
    """Which indications would pass; nothing where nothing is judged."""
    passing, unit = answer["passing_indications"], answer["indication_unit"]
    if answer["design"] is None or not answer["design"]["conformity"]:
        return []
    if passing is None:
        return ["no indication that the instrument is calibrated for would pass with this U"]
    mean = "mean indications" if answer["traverse"] else "indications"
    low, high = ends_inside(passing["from"], passing["to"]).values()
    if high is None:
        return [f"{mean} of {low} {unit} or more would pass"]
    if low is None or passing["from"] <= 0:
        return [f"{mean} up to {high} {unit} would pass"]
    return [f"{mean} from {low} to {high} {unit} would pass"]


def ends_inside(low: float | None, high: float | None) -> dict[str, str | None]:
    """Both ends of what would pass, each rounded to the inside; one that is absent is none."""
    return {
        "from": None if low is None else _inward(low, up=True),
        "to": None if high is None else _inward(high, up=False),
    }


def _inward(end: float, *, up: bool) -> str:
    """An end of what would pass, rounded to the inside."""
    places = _DIGITS - 1 - math.floor(math.log10(abs(end))) if end else 0
    grain = 10.0**-places
    return f"{(math.ceil if up else math.floor)(end / grain) * grain:.{max(places, 0)}f}"


def would_settle(answer: Content) -> list[str]:
    """What would settle a conditional statement."""
    if answer["settled"]:
        return []
    observed = "passes" if answer["traverse"] else "observations"
    ruled = f"{answer['dominant_contribution']} rules: another method or meter, or a setting nearer the design, would"
    count = answer["observations_to_settle"]
    return [f"{count} {observed} would settle it" if count else f"no number of {observed} settles it; {ruled}"]


def moved(before: Evaluation, after: Evaluation, outlet: str, since: str = "with it") -> list[str]:
    """What readings of other outlets say otherwise since one was recorded or taken back: U has a part that all of them share."""
    were, are = _statements(before), _statements(after)
    return [
        f"{since} {name} is {said}; it was {were[name]}"
        for name, said in are.items()
        if name != outlet and were.get(name, said) != said
    ]


def _statements(evaluation: Evaluation) -> dict[str, str]:
    counting = {row: flow_content(evaluation, row, None) for row in evaluation.counting.values()}
    return {
        evaluation.measured[row].outlet.outlet: f"{each['flow']['statement']}{_judged(each['design'])}"
        for row, each in counting.items()
    }


def not_in_report(revision: int) -> str:
    """That a report was issued before a reading was recorded."""
    return f"revision {revision} of the report was issued without this reading: it stands in the next one"


def _left(outlets: Sequence[str]) -> str:
    if not outlets:
        return "every outlet of the job is measured"
    return f"{count_of(len(outlets), 'outlet', 'outlets')} left: {', '.join(map(one_line, outlets))}"
