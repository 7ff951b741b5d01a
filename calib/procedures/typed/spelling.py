"""Names that people type: which of them are one name in other spellings, and which look like a slip of typing.

Decision (2026-11-29). Two names that differ in case, space or punctuation alone are one. A name looks like a slip of another where,
without the words that both have, a few letters differ: one where the longer has four letters or more, two where it has eight or
more; or where the words are the same in another order. What has digits or fewer letters tells things apart (sheet 12 and 13,
type G and H) and is never taken for a slip. Options: any edit distance over the whole name (it takes sheet 12 for a slip of sheet
13), phonetic codes (they are made for one language). Cost: a slip in a number is not seen; north and south are four letters of
five alike and are told apart by their two.
"""

from collections import Counter
from collections.abc import Iterable
from difflib import get_close_matches

PLUS_MINUS = r"(?:\u00b1|\+/-|\+-)\s*"  # how the sign is written before a number; common practice, no source
_SHORTEST = 4  # letters of a word in which a slip is looked for
_BEGUN = 3  # letters of a name by which it may be known
_LONG = 8  # letters from which two may differ


def spelled_alike(name: str) -> str:
    """What names that differ in case, space or punctuation alone have in common."""
    return "".join(letter for letter in name.casefold() if letter.isalnum())


def nearly_alike(name: str, other: str) -> bool:
    """Whether two names that are not spelled alike differ by what looks like a slip of typing."""
    if spelled_alike(name) == spelled_alike(other):
        return False
    words, others = Counter(_words(name)), Counter(_words(other))
    own, its = ("".join((left - right).elements()) for left, right in ((words, others), (others, words)))
    if not own and not its:  # the same words in another order
        return True
    shorter, longer = sorted((len(own), len(its)))
    if longer < _SHORTEST or longer - shorter > 2 or not (own + its).isalpha():
        return False
    return _edits(own, its) <= (2 if longer >= _LONG else 1)


def did_you_mean(typed: str, names: Iterable[str]) -> str:
    """The name that is meant, as the end of a sentence; blank where there is none."""
    meant = name_meant(typed, names)
    return f" (did you mean {meant}?)" if meant else ""


def name_meant(typed: str, names: Iterable[str]) -> str | None:
    """The name that something typed comes near to, or is the beginning of; None where there is none."""
    known = {spelled_alike(name): name for name in names}
    own = spelled_alike(typed)
    same = known.get(own) or known.get(own.zfill(3)) or known.get(own.zfill(2)) or known.get(own.lstrip("0"))
    begun = [name for alike, name in known.items() if len(own) >= _BEGUN and alike.startswith(own)]
    near = [] if same else get_close_matches(own, known, 1, 0.75)
    return same or (known[near[0]] if near else begun[0] if len(begun) == 1 else None)


def _words(name: str) -> list[str]:
    """Words of a name: what punctuation within a word parts is one of them."""
    return [word for word in map(spelled_alike, name.split()) if word]


def _edits(own: str, other: str) -> int:
    """Letters left out, put in, changed, or exchanged with their neighbour, at the least (optimal string alignment)."""
    before: list[int] = []
    last = list(range(len(other) + 1))
    for i, letter in enumerate(own, start=1):
        row = [i]
        for j, its in enumerate(other, start=1):
            row.append(min(last[j] + 1, row[j - 1] + 1, last[j - 1] + (letter != its)))
            if i > 1 and j > 1 and letter == other[j - 2] and own[i - 2] == its:
                row[j] = min(row[j], before[j - 2] + 1)
        before, last = last, row
    return last[-1]
