"""A factor with every revision and the readings that used it, as `calib factor show` answers."""

from collections.abc import Sequence

from calib.faces.parts.factor_revision import head_text, revision, tables_text
from calib.faces.written import Content
from calib.procedures.factors.factors_on_file import FactorOnFile, ReadingWithFactor


def document(
    revisions: Sequence[FactorOnFile], readings: Sequence[ReadingWithFactor], units: str | None = None
) -> Content:
    """A factor with all its revisions, the first one first, and the readings that used or use it."""
    return {
        "factor": revisions[0].factor.factor,
        "revisions": [
            revision(factor, units)
            | {"readings": [_reading(each) for each in readings if each.revision_then == factor.factor.revision]}
            for factor in revisions
        ],
        # Recorded while their outlets had no factor of this name.
        "other_readings": [_reading(each) for each in readings if each.revision_then is None],
    }


def _reading(reading: ReadingWithFactor) -> Content:
    return {
        "reading": reading.of.reading.id,
        "job": reading.of.job,
        "outlet": reading.of.outlet.outlet,
        "observed_at": reading.of.reading.observed_at,
        "recorded_at": reading.written.time,
        "evaluated_with_revision": reading.revision_now,
    }


def text(answer: Content) -> str:
    """The same for people, the latest revision first."""
    latest = answer["revisions"][-1]["revision"]
    blocks = [
        f"{_revision_text(each)}\n\n{tables_text(each)}\n\n{_readings_text(each, latest)}\n"
        for each in reversed(answer["revisions"])
    ]
    return "\n".join([*blocks, *_others_text(answer)])


def _revision_text(factor: Content) -> str:
    """Who found a revision, when and why, above its pairs."""
    state = "counts now" if factor["counts"] else "superseded"
    return f"{head_text(factor)}\n  {state}; found {factor['found_at']} by {factor['found_by']}: {factor['reason']}"


def _readings_text(factor: Content, latest: int) -> str:
    """The readings recorded while a revision counted, and what they are evaluated with now."""
    if not factor["readings"]:
        return "no reading was recorded since" if factor["counts"] else "no reading was recorded while it counted"
    now = [each for each in factor["readings"] if each["evaluated_with_revision"] is not None]
    gone = [each for each in factor["readings"] if each["evaluated_with_revision"] is None]
    counted, evaluated = ("counts", "") if factor["counts"] else ("counted", f"; evaluated with revision {latest} now")
    lines = [f"recorded while it {counted}: {_named(now)}{evaluated}"] if now else []
    if gone:
        lines.append(f"recorded while it counted: {_named(gone)}; their outlets were amended and have it no more")
    return "\n".join(lines)


def _others_text(answer: Content) -> list[str]:
    """Readings that were recorded before their outlet had the factor, and use it now."""
    others = answer["other_readings"]
    return [f"recorded before their outlets had this factor, evaluated with it now: {_named(others)}"] if others else []


def _named(readings: Sequence[Content]) -> str:
    outlets = dict.fromkeys(each["outlet"] for each in readings)
    listed = ", ".join(f"{_numbers(readings, outlet)} ({outlet})" for outlet in outlets)
    return f"reading{'s' if len(readings) > 1 else ''} {listed}"


def _numbers(readings: Sequence[Content], outlet: str) -> str:
    return ", ".join(str(each["reading"]) for each in readings if each["outlet"] == outlet)
