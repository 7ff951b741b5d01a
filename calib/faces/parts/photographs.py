"""Photographs kept with a reading or an outlet, as the answers that show it list them."""

from collections.abc import Iterator

from calib.faces.written import Content


def photograph_lines(answer: Content) -> Iterator[str]:
    """A line for each."""
    for each in answer["photographs"]:
        remarks = f": {each['remarks']}" if each["remarks"] else ""
        yield f"photograph {each['name']}{remarks} (SHA-256 {each['sha256']})"
