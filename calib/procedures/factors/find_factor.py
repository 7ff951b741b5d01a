"""Find an outlet factor in the field and record it; what hangs on an instrument found out of order joins that review.

Decision (2026-11). A factor is stored as found, with its pairs; used with another instrument or method it refuses the reading,
not the import. Cost (11-25): a factor named for an outlet that nothing at hand suits shows at the first reading, on site.
"""

from dataclasses import replace

from sqlmodel import Session

from calib.procedures.impact.gather import RecordKind
from calib.procedures.impact.open_review import open_reviews
from calib.procedures.pairs.factor_from_pairs import FactorFound, FactorWanted, found_from_pairs
from calib.records import ledger
from calib.records.record import key


def find_factor(session: Session, wanted: FactorWanted, signature: ledger.Signature) -> FactorFound:
    """Find a factor and record it with its pairs, as the next revision where the name is there already.

    What it rests on may hang on an instrument that was found out of order: the factor becomes a line of that review. Raises
    BadInputError with every finding, nothing written.
    """
    factor = found_from_pairs(session, wanted, signature)
    return replace(
        factor,
        remarks=open_reviews(
            session, signature, signature.time, (), [(RecordKind.FACTOR, key(factor.record.id))]
        ).remarks,
    )
