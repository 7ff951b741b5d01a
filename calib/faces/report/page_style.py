"""How the report's page is set: on a wide screen, on a narrow one (each row of a table is a card there), on paper."""

import re
from functools import cache
from importlib.resources import files

from calib.faces.report.blocks import Layout


@cache
def style() -> str:
    """The style sheet."""
    return files(__package__).joinpath("page.css").read_text(encoding="utf-8")


def on_paper(layout: Layout) -> str:
    """Margins and foot of a printed page: revision, the beginning of the ledger's digest, and its number of all."""
    digest = re.sub(r"[^0-9a-f]", "", layout.ledger_digest)[
        :16
    ]  # within a style sheet nothing stands but what it cannot read
    revision = "" if layout.revision is None else f"revision {int(layout.revision)}, "
    state = "draft of " if layout.is_draft else ""
    foot = "font-size: 7pt; color: #5a6872;"
    return (
        "@page { margin: 14mm 13mm 16mm;\n"
        f'  @bottom-left {{ content: "{state}{revision}ledger {digest}"; {foot} }}\n'
        f'  @bottom-right {{ content: counter(page) " of " counter(pages); {foot} }}\n'
        "}\n"
    )
