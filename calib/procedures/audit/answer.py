"""An answer to one question: what is said first, whether it is a finding, and what it rests on."""

from collections.abc import Iterable
from dataclasses import dataclass, replace


@dataclass(frozen=True)
class Answer:
    """A question with its answer."""

    question: str
    said: str  # the answer, a sentence
    is_finding: bool  # whether an assessor would write it down
    rests_on: tuple[str, ...] = ()  # a sentence each


def days_text(days: Iterable[str]) -> str:
    """A day, or the first and the last of several; ISO 8601."""
    ordered = sorted(set(days))
    return ordered[0] if len(ordered) == 1 else f"{ordered[0]} to {ordered[-1]}" if ordered else "no day"


def said_once(*answers: Answer) -> tuple[Answer, ...]:
    """Answers in which what an earlier one rests on is not said again: they refer to it."""
    first: dict[str, int] = {}
    told = []
    for place, answer in enumerate(answers, start=1):
        again = [first[ground] for ground in answer.rests_on if ground in first]
        new = [ground for ground in answer.rests_on if ground not in first]
        refers = [f"{again.count(each)} more was said under question {each}." for each in sorted(set(again))]
        told.append(replace(answer, rests_on=(*new, *refers)))
        first |= dict.fromkeys(new, place)
    return tuple(told)
