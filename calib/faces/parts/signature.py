"""The verdict on the signature of a file that a certificate was read from, as several answers say it."""

from calib.faces.written import Content


def signature_told(signature: Content) -> str:
    """What was found of the signature on a file that a certificate was read from."""
    signer = f", signed by {signature['signer']}" if signature["signer"] else ""
    vouched = f", as QA recorded it of {signature['laboratory']}" if signature["laboratory"] else ""
    return f"read from {signature['file']}: {signature['verdict']}{signer}{vouched}"
