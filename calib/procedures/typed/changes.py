"""Changes of a record on file, typed as COLUMN=VALUE."""

from collections.abc import Sequence

from calib.errors import Finding


def changes_typed(typed: Sequence[str], known: Sequence[str]) -> tuple[dict[str, str | None], list[Finding]]:
    """Cells by their column, blank ones to take a cell out, and a finding for each change of no such column, or of one twice."""
    changed: dict[str, str | None] = {}
    findings = []
    for change in typed:
        column, separator, value = change.partition("=")
        if not separator or column.strip() not in known:
            expected = f"COLUMN=VALUE with one of the columns {', '.join(known)}"
            findings.append(Finding.typed("set", change, expected))
        elif column.strip() in changed:
            findings.append(Finding.typed("set", change, f"each column once ({column.strip()})"))
        else:
            changed[column.strip()] = value.strip()
    return changed, findings
