"""Why a flow of a report is stated otherwise than in the revision before: what it rests on that is otherwise on record.

Both reports tell it as they were issued, in JSON: what differs in the evidence of a reading names its cause, in words with the
amendment, repeat, review or certificate behind it; a total has the causes of its readings, and its own design.
"""

from collections.abc import Iterator
from math import isclose

from calib.faces.parts.review_on_job import decided_text
from calib.faces.written import Content, design_text, unit_text
from calib.measurement import PLANT_DRIFT
from calib.records.words import NET, REPEAT

_AS_ACCURATE = 1e-9
_POOLED, _STABILITY = "repeatability", "stability"
_OF_INSTRUMENTS = (_POOLED, _STABILITY, "resolution")
# What of a design is typed, and not worked out of the flow.
_DESIGN = ("value", "lower_limit", "upper_limit", "density_kg_per_m3")


def causes_of_reading(before: Content, after: Content, earlier: Content | None, now: Content | None) -> list[str]:
    """Causes for which a reading of the one report or the other is stated otherwise."""
    if earlier is None:
        return [] if now is None else [_come(before, now)]
    return list(_gone(after, earlier) if now is None else _otherwise(before, after, earlier, now))


def causes_of_total(before: Content, after: Content, earlier: Content | None, now: Content | None) -> list[str]:
    """Causes for which a total is stated otherwise: of the readings that count in it, and its design."""
    total = now or earlier
    if total is None:
        return []
    told = [] if earlier is None or now is None else list(_designs(earlier, now))
    counted = [_counted(report, total) for report in (before, after)]
    for outlet in dict.fromkeys([*counted[0], *counted[1]]):
        first, last = (each.get(outlet) for each in counted)
        if first is not None and last is not None and first["reading"] == last["reading"]:
            told += _otherwise(before, after, first, last)
        elif last is not None:
            told.append(f"reading {last['reading']} at {outlet} counts since")
        elif first is not None:
            told += list(_gone(after, first)) or [f"{outlet} counts no longer"]
    return list(dict.fromkeys(told))


def _counted(report: Content, total: Content) -> dict[str, Content]:
    """The readings that count in a total of a system, of the job or of a room, by their outlets."""
    room, system, service = (total.get(name) for name in ("room", "system", "service"))
    return {
        reading["outlet"]: reading
        for reading in report["readings"]
        if reading["latest"]
        and (reading.get("room") == room if room else reading["in_totals"])
        and (not system or reading["system"] == system)
        and (service in (None, NET) or reading["service"] == service)
    }


def _come(before: Content, now: Content) -> str:
    """Why a reading stands that did not."""
    refused = ((each["outlet"], each["observed_at"]) for each in before["refusals"])
    is_repeat = ", a repeat" if now["stage"] == REPEAT else ""
    return "refused until then" if (now["outlet"], now["observed_at"]) in refused else f"recorded since{is_repeat}"


def _gone(after: Content, earlier: Content) -> Iterator[str]:
    """Why a reading stands no longer."""
    named = f"reading {earlier['reading']} at {earlier['outlet']},"
    yield from (_amended(each) for each in after["amendments"] if each["record"].startswith(named))
    for each in after["refusals"]:
        if (each["outlet"], each["observed_at"]) == (earlier["outlet"], earlier["observed_at"]):
            yield f"refused since: {'; '.join(each['reasons'])}"


def _otherwise(before: Content, after: Content, earlier: Content, now: Content) -> Iterator[str]:
    """What a reading rests on otherwise than before."""
    since = list(_amendments_since(before, after))
    records = list(_records_otherwise(after["job"], earlier, now))
    yield from (_amended(each) for each in since if each["record"].partition(", from ")[0] in records)
    yield from _certificates(earlier, now)
    yield from _decided(before, after, now)
    if not _is_alike(earlier, now, PLANT_DRIFT):
        yield from _drifts(before, after, now)
    if not _is_alike(earlier, now, _STABILITY):
        yield f"stability of {now['instrument']}, by what is on record of it since"
    if not _is_alike(earlier, now, _POOLED):
        yield "repeatability, pooled over the readings that stand now"


def _amendments_since(before: Content, after: Content) -> Iterator[Content]:
    told = {(each["record"], each["revision"], each["at"]) for each in before["amendments"]}
    yield from (each for each in after["amendments"] if (each["record"], each["revision"], each["at"]) not in told)


def _amended(amendment: Content) -> str:
    return f"{amendment['record']} amended (revision {amendment['revision']}): {amendment['reason']}"


def _records_otherwise(job: str, earlier: Content, now: Content) -> Iterator[str]:
    """Records of which the two say otherwise what the reading has of them."""
    first, last = (each.get("evidence") or {} for each in (earlier, now))
    factors = [each.get("found_factor") or {} for each in (earlier, now)]
    designs = [tuple((each["design"] or {}).get(part) for part in _DESIGN) for each in (earlier, now)]
    of_outlet = [(each.get("dimensions"), (each.get("factor") or {}).get("source")) for each in (first, last)]
    if of_outlet[0] != of_outlet[1] or designs[0] != designs[1] or not _is_alike(earlier, now, "outlet factor"):
        yield f"outlet {now['outlet']}"
    if factors[0] != factors[1] and factors[0].get("factor") == factors[1].get("factor"):
        yield f"factor {factors[1]['factor']}"
    if first.get("method") != last.get("method"):
        yield f"method {now['method']}"
    if (earlier["design"] or {}).get("conformity") != (now["design"] or {}).get("conformity"):
        yield f"job {job}"
    if not all(_is_alike(earlier, now, name) for name in _OF_INSTRUMENTS):
        yield from (f"instrument {each}" for each in (now["instrument"], now["probe"]) if each)


def _certificates(earlier: Content, now: Content) -> Iterator[str]:
    first, last = (
        {each["tag"]: each["certificate"] for each in (reading.get("evidence") or {}).get("instruments", ())}
        for reading in (earlier, now)
    )
    for tag, certificate in last.items():
        if first.get(tag, certificate) != certificate:
            yield f"certificate of {tag}: {first[tag]} → {certificate}"


def _decided(before: Content, after: Content, now: Content) -> Iterator[str]:
    """Decisions of reviews on which curve holds for the reading."""
    told = {each["review"]: each["decision"] for each in before.get("reviews", ())}
    for each in after["reviews"]:
        if now["reading"] in each["readings"] and each["decision"] not in (None, told.get(each["review"])):
            yield f"review {each['review']} of {each['instrument']}: {decided_text(each)}"


def _drifts(before: Content, after: Content, now: Content) -> Iterator[str]:
    """Repeats that tell a drift of the plant, and those that tell it no longer."""
    first, last = (
        {
            each["repeat_reading"]: each["outlet"]
            for each in report.get("plant_drift", ())
            if (each["system"], each["service"]) == (now["system"], now["service"])
        }
        for report in (before, after)
    )
    for repeat in last.keys() - first.keys():
        yield f"drift of the plant, by reading {repeat}, a repeat at {last[repeat]}"
    for repeat in first.keys() - last.keys():
        yield f"drift of the plant: reading {repeat}, a repeat at {first[repeat]}, counts no longer"


def _is_alike(earlier: Content, now: Content, name: str) -> bool:
    """Whether a contribution is the same share of the flow."""
    first, last = (_share(each, name) for each in (earlier, now))
    return isclose(first, last, rel_tol=_AS_ACCURATE)


def _share(reading: Content, name: str) -> float:
    u = [each["standard_uncertainty"] for each in reading["contributions"] if each["name"] == name]
    flow = reading["flow"]["value"]
    return float(sum(u)) / flow if flow else 0.0


def _designs(earlier: Content, now: Content) -> Iterator[str]:
    first, last = (_design(each) for each in (earlier, now))
    if first != last:
        yield f"design {first} → {last}"


def _design(total: Content) -> str:
    design = total["design"]
    if design is None or design["value"] is None:
        return "none"
    low, high = (design.get(end) for end in ("lower_limit", "upper_limit"))
    allowed = f", {design_text(low)} to {design_text(high)} allowed" if None not in (low, high) else ""
    return f"{design_text(design['value'])} {unit_text(design['unit'])}{allowed}"
