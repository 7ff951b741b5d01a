"""What is typed of the certificates with which laboratories sign: laboratory_certificates.csv."""

from datetime import datetime

from calib.procedures.typed.cells import any_text, one_of, time_with_zone
from calib.procedures.typed.declaration import Declaration, must
from calib.records.tables.signatures import LaboratoryCertificate
from calib.records.words import TRUST

LABORATORY_CERTIFICATES_CSV = Declaration(
    "laboratory_certificates.csv",
    "certificates with which laboratories sign, trusted or no longer trusted; of several rows on one the last counts",
    LaboratoryCertificate,
    (
        must("laboratory", any_text, "the laboratory, as its calibration certificates name it"),
        must("kind", one_of(*TRUST), "whether it is trusted from then on"),
        must("at", time_with_zone, "from when on", happened=datetime.fromisoformat),
        must("reason", any_text, "how it is known that it is theirs, or why it is no longer trusted"),
        must("sha256", any_text, "SHA-256 of the certificate"),
        must("file", any_text, "file beside this one that holds it (X.509, DER)", names_file=True),
    ),
    told_by=("sha256", "kind", "at"),
)
