"""Which revision of a factor found in the field counts."""

from sqlmodel import Session, col, select

from calib.records.tables.factors import FoundFactor


def factor_revisions(session: Session, name: str) -> tuple[FoundFactor, ...]:
    """Every revision of a factor found in the field, the first one first; empty where there is none of that name."""
    own = select(FoundFactor).where(FoundFactor.factor == name)
    return tuple(session.exec(own.order_by(col(FoundFactor.revision))))


def factor_that_counts(session: Session, name: str) -> FoundFactor | None:
    """The revision of a factor that counts; None where there is none of that name."""
    return next(reversed(factor_revisions(session, name)), None)
