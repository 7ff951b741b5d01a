"""An answer to one question: what is said first, whether it is a finding, and what it rests on."""

from collections.abc import Iterable
from dataclasses import dataclass


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
