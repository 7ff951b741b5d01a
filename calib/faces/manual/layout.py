"""A page of the manual as plain text: headings, paragraphs, lists, tables, code, and nothing else of Markdown.

Decision (2026-11). The manual is Markdown laid out by some eighty lines rather than by rich, which takes 0.2 s to import and
frames code in boxes. Cost (11-28): a page may use headings, paragraphs, lists, tables and code alone; a list within a list is not
known, and code stands within fences: a block that is indented is refused, for as a paragraph it could not be copied.
"""

import re
from itertools import zip_longest
from textwrap import wrap

_FENCE = "```"
_ITEM = re.compile(r"(- |\d+\. )")
_CODE = re.compile(r"`[^`]*`")
_JOINED = "\N{NO-BREAK SPACE}"
_GAP = "  "
_INDENT = "    "
_UNDERLINES = {"#": "=", "##": "-"}


def laid_out(markup: str, width: int) -> str:
    """The page with lines of at most `width` characters; code and words that are longer stay whole.

    Raises ValueError for a block that is indented and stands in no fences.
    """
    return "\n\n".join(_laid_out(block, width) for block in _blocks(markup)) + "\n"


def _blocks(markup: str) -> list[list[str]]:
    """Lines that belong together: what stands between blank lines, and code with its fences."""
    blocks: list[list[str]] = [[]]
    in_code = False
    for line in markup.splitlines():
        in_code ^= line.lstrip().startswith(_FENCE)
        if line or in_code:
            blocks[-1].append(line)
        else:
            blocks.append([])
    return [block for block in blocks if block]


def _laid_out(block: list[str], width: int) -> str:
    first = block[0]
    if first[0].isspace():
        raise ValueError(f"an indented block without fences: {first!r}")
    if first.startswith(_FENCE):
        return "\n".join(f"{_INDENT}{line}".rstrip() for line in block[1:-1])
    if first.startswith("#"):
        mark, title = first.split(" ", 1)
        lines = _lines(title, width)
        return "\n".join([*lines, _UNDERLINES[mark] * max(map(len, lines))])
    if first.startswith("|"):
        return _table([[cell.strip() for cell in line.strip("|").split("|")] for line in block], width)
    if _ITEM.match(first):
        return "\n".join(_item(item, width) for item in _items(block))
    return "\n".join(_lines(" ".join(block), width))


def _lines(text: str, width: int) -> list[str]:
    """Text broken into lines, short code in one piece."""
    whole = _CODE.sub(lambda code: code[0].replace(" ", _JOINED) if len(code[0]) <= width // 2 else code[0], text)
    broken = wrap(whole, max(width, 8), break_long_words=False, break_on_hyphens=False)
    return [line.replace(_JOINED, " ") for line in broken] or [""]


def _items(block: list[str]) -> list[str]:
    items: list[str] = []
    for line in block:
        if _ITEM.match(line):
            items.append(line)
        else:
            items[-1] += f" {line.strip()}"
    return items


def _item(item: str, width: int) -> str:
    mark, said = _ITEM.split(item, maxsplit=1)[1:]
    indent = " " * len(mark)
    return mark + f"\n{indent}".join(_lines(said, width - len(mark)))


def _table(rows: list[list[str]], width: int) -> str:
    """Two columns as terms with their meanings; more of them side by side, the widest broken into lines."""
    if len(rows[0]) == 2:
        return _terms(rows, width)
    widths = [max(map(len, column)) for column in zip(*(row for row in rows if not _is_rule(row)), strict=True)]
    widest = widths.index(max(widths))
    widths[widest] -= max(0, sum(widths) + len(_GAP) * (len(widths) - 1) - width)
    return "\n".join(line for row in rows for line in _row(row, widths))


def _is_rule(row: list[str]) -> bool:
    return not "".join(row).strip("-")


def _row(row: list[str], widths: list[int]) -> list[str]:
    if _is_rule(row):
        return [_GAP.join("-" * wide for wide in widths)]
    cells = [_lines(cell, wide) for cell, wide in zip(row, widths, strict=True)]
    beside = zip_longest(*cells, fillvalue="")
    return [_GAP.join(part.ljust(wide) for part, wide in zip(parts, widths, strict=True)).rstrip() for parts in beside]


def _terms(rows: list[list[str]], width: int) -> str:
    """Terms with their meanings beside them; a term that is longer than two fifths of a line stands above its meaning."""
    longest = max([len(term) for term, _ in rows if len(term) <= width * 2 // 5], default=8)
    lines = []
    for term, meaning in rows:
        first, *rest = _lines(meaning, width - longest - 2 * len(_GAP))
        if len(term) > longest:
            lines += [f"{_GAP}{part}" for part in _lines(term, width - len(_GAP))]
            term = ""  # noqa: PLW2901 (it stands above)
        lines += [
            f"{_GAP}{part.ljust(longest)}{_GAP}{text}"
            for part, text in zip_longest([term], [first, *rest], fillvalue="")
        ]
    return "\n".join(lines)
