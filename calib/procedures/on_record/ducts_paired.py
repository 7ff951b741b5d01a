"""Which duct carries the flow of which outlet, as pairs of a traverse and a face reading state it."""

from collections import defaultdict

from sqlalchemy.orm import aliased
from sqlmodel import Session, col, select

from calib.records.record import key
from calib.records.tables.factors import FactorPair
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import Reading


def ducts_paired(session: Session, job: int) -> dict[int, dict[int, dict[int, list[int]]]]:
    """For each duct of a job that factors were found in: outlet -> factor -> the readings in the duct; all by their keys."""
    face = aliased(Reading)
    pairs = select(Reading.outlet_id, face.outlet_id, FactorPair.found_factor_id, Reading.id).select_from(FactorPair)
    pairs = pairs.join(Reading, col(Reading.id) == FactorPair.traverse_reading_id)
    pairs = pairs.join(face, col(face.id) == FactorPair.face_reading_id)
    of_job = pairs.join(Outlet, col(Outlet.id) == Reading.outlet_id).where(Outlet.job_id == job)
    ducts: dict[int, dict[int, dict[int, list[int]]]] = defaultdict(lambda: defaultdict(lambda: defaultdict(list)))
    for duct, outlet, factor, traverse in session.exec(of_job):
        ducts[key(duct)][key(outlet)][key(factor)].append(key(traverse))
    return ducts
