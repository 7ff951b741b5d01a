"""When the program was validated, in a sentence."""

from calib.faces.written import Content


def validation_text(validation: Content | None) -> str:
    """When the program that wrote a report passed its published checks (ISO/IEC 17025:2017, 7.11.2)."""
    if validation is None:
        return "No validation of this version is on record."
    return (
        f"This version {validation['result']} its validation by {validation['checks']} published numbers on "
        f"{validation['at'][:10]}, on {validation['platform']} (SHA-256 {validation['sha256']})."
    )
