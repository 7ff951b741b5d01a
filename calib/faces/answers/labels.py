"""Which labels were made and which were not, as `calib label` answers."""

from dataclasses import asdict
from pathlib import Path
from urllib.parse import quote

from calib.faces.plain_text import one_line
from calib.faces.written import Content
from calib.procedures.fleet.labels import Label, LabelsAsked


def document(path: Path, asked: LabelsAsked, base_address: str | None) -> Content:
    """The labels with the text of their codes, and why others get none."""
    return {
        "file": str(path) if asked.labels else None,
        "labels": [
            {name: None if cell is None else str(cell) for name, cell in asdict(label).items()}
            | {"code": code_of(label, base_address)}
            for label in asked.labels
        ],
        "refused": [{"tag": tag, "reasons": list(reasons)} for tag, reasons in asked.refused],
    }


def code_of(label: Label, base_address: str | None) -> str:
    """What a label's QR code holds: the address of the instrument's page where the company has pages, else what stands on it."""
    if base_address is not None:
        return f"{base_address.rstrip('/')}/instruments/{quote(label.tag, safe='')}"
    return "\n".join((one_line(label.tag), f"certificate {one_line(label.certificate)}", f"due {label.due_on}"))


def text(answer: Content) -> str:
    """The same for people."""
    if not answer["labels"]:
        return "no label: nothing asked for may be used"
    return f"wrote {answer['file']} with {len(answer['labels'])} label(s)"
