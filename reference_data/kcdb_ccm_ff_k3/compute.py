"""degrees_of_equivalence.csv, the column |D|/U: the size of each degree of equivalence over its expanded uncertainty."""

from decimal import Decimal

from tests.reference import rows


def tables():
    made = []
    for row in rows("kcdb_ccm_ff_k3", "degrees_of_equivalence"):
        ratio = abs(Decimal(row["D"])) / Decimal(row["U (k = 2)"])
        made.append({"laboratory": row["laboratory"], "|D|/U": f"{ratio:.3f}"})
    return {"degrees_of_equivalence": made}
