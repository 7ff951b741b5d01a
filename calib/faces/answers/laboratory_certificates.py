"""Certificates that laboratories sign with, as `calib laboratory-certificate` answers."""

from collections.abc import Sequence

from calib.faces.plain_text import table_text
from calib.faces.written import Content
from calib.procedures.dcc.check_signature import signer_of, x509_of
from calib.procedures.on_record.laboratory_certificates import LaboratoryCertificateOnFile

_HEADER = ("laboratory", "signs as", "valid", "state", "SHA-256", "reason")
_SHOWN = 16  # characters of a digest


def certificate(on_file: LaboratoryCertificateOnFile) -> Content:
    """One certificate: whose, from when until when it is valid, whether it is trusted, and all that was recorded of it."""
    latest = on_file.latest
    own = x509_of(latest.content)
    return {
        "laboratory": latest.laboratory,
        "sha256": latest.sha256,
        "signs_as": None if own is None else signer_of(own),
        "valid_from": None if own is None else own.not_valid_before_utc.isoformat(),
        "valid_until": None if own is None else own.not_valid_after_utc.isoformat(),
        "state": latest.kind,
        "at": latest.at,
        "reason": latest.reason,
        "recorded": [{"kind": each.kind, "at": each.at, "reason": each.reason} for each in on_file.recorded],
    }


def document(on_file: Sequence[LaboratoryCertificateOnFile]) -> Content:
    """All of them."""
    return {"laboratory_certificates": [certificate(each) for each in on_file]}


def text(answer: Content) -> str:
    """The same for people."""
    rows = [
        (
            each["laboratory"],
            each["signs_as"] or "-",
            " to ".join((each[name] or "-")[:10] for name in ("valid_from", "valid_until")),
            f"{each['state']} since {each['at'][:10]}",
            each["sha256"][:_SHOWN],
            each["reason"],
        )
        for each in answer["laboratory_certificates"]
    ]
    return table_text(_HEADER, rows) if rows else "no laboratory certificate is on record: signatures are not verified"


def trusted(answer: Content) -> str:
    """That one was added."""
    return (
        f"{answer['laboratory']} is trusted to sign as {answer['signs_as']}, valid until {answer['valid_until'][:10]}, "
        f"SHA-256 {answer['sha256']}"
    )


def distrusted(answer: Content) -> str:
    """That one is trusted no longer."""
    return (
        f"the certificate with which {answer['laboratory']} signs as {answer['signs_as']} is no longer trusted: files signed with "
        "it are not verified any more; calibrations on record stay, and what was found of their signatures"
    )
