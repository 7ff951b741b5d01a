"""Who recorded what, when and with which version, as `calib log` answers."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict
from itertools import groupby

from calib.faces.written import Content
from calib.procedures.on_record.log import Log

_NAMED_AT_MOST = 6


def document(log: Log) -> Content:
    """Entries, the newest first, and how many more there are before them."""
    return {"entries": [asdict(entry) for entry in log.entries], "more": log.more}


def text(answer: Content) -> str:
    """The same for people, an act a paragraph."""
    lines = [line for act in acts(answer) for line in _paragraph(act)]
    if answer["more"]:
        last = answer["entries"][-1]["sequence"]
        lines.append(
            f"{answer['more']:,} more before entry {last}: --before {last} shows them, --limit so many at once"
        )
    return "\n".join(lines or ["nothing of it was recorded"])


def acts(answer: Content) -> list[Content]:
    """Entries that were written together, the newest first: who did what, when, with which version, and the records of it."""
    together = groupby(
        answer["entries"], key=lambda each: [each[name] for name in ("time", "person", "action", "version")]
    )
    return [_act(list(entries)[::-1]) for _, entries in together]


def _act(entries: Sequence[Content]) -> Content:
    first = entries[0]
    return {
        **{name: first[name] for name in ("time", "person", "action")},
        "version": "version not kept" if first["version"] is None else f"calib {first['version']}",
        "records": [
            _records(table, list(records)) for table, records in groupby(entries, key=lambda each: each["record_table"])
        ],
    }


def _paragraph(act: Content) -> Iterator[str]:
    yield f"{act['time']}  {act['person']}: {act['action']} ({act['version']})"
    yield from (f"  {line}" for line in act["records"])


def _records(table: str, records: Sequence[Content]) -> str:
    """`reading 1 to 40 of J-1, VA-1 (entries 12 to 51)`."""
    of = [*_distinct(records, "job"), *_distinct(records, "instrument")]
    named = ", ".join(of[:_NAMED_AT_MOST]) + (
        f" and {len(of) - _NAMED_AT_MOST} more" if len(of) > _NAMED_AT_MOST else ""
    )
    entries = _span(each["sequence"] for each in records)
    word = "entries" if len(records) > 1 else "entry"
    numbers = _span(each["record_id"] for each in records)
    return f"{table.replace('_', ' ')} {numbers}{f' of {named}' if of else ''} ({word} {entries})"


def _distinct(records: Sequence[Content], name: str) -> list[str]:
    return [each for each in dict.fromkeys(record[name] for record in records) if each is not None]


def _span(numbers: Iterable[int]) -> str:
    """Rising numbers, those that follow one another as `1 to 4`."""
    runs: list[list[int]] = []
    for following in numbers:
        if runs and following == runs[-1][-1] + 1:
            runs[-1].append(following)
        else:
            runs.append([following])
    return ", ".join(str(run[0]) if len(run) == 1 else f"{run[0]} to {run[-1]}" for run in runs)
