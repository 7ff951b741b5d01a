"""The line where the engineer signs a report, or what the signature within the PDF says."""

from calib.faces.plain_text import shortened
from calib.faces.report.blocks import Signatures, SignedInPdf
from calib.faces.written import Content
from calib.procedures.report.signing_key import PLACE

_LONGEST_ISSUER = 60  # signs: three lines of the signature


def signatures(report: Content) -> Signatures:
    """Room for the engineer's signature, with the name of whoever issued the report; or what the PDF's signature says."""
    issued_by, signature = report.get("issued_by"), report.get("signature")
    if signature is None:
        return Signatures(((f"Certifying engineer{', who issued it' if issued_by else ''}", str(issued_by or "")),))
    said = f"Signed electronically in the PDF ({signature['level']}). Certificate issued by "
    said += f"{shortened(signature['issuer'], _LONGEST_ISSUER)}, SHA-256 {signature['sha256'][:16]}."
    signed = SignedInPdf(said, signature["at"][:10], PLACE)
    return Signatures((("Certifying engineer, who issued it", signature["by"]),), signed)
