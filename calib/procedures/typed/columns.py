"""Every file that may be typed or imported, in order. The names are the contract with the user's spreadsheets."""

from calib.procedures.typed.declaration import Declaration
from calib.procedures.typed.declared.calibrations import (
    CALIBRATIONS_CSV,
    COMPARISONS_CSV,
    CORRELATIONS_CSV,
    CURVES_CSV,
    SUPERSESSIONS_CSV,
    WITHDRAWALS_CSV,
)
from calib.procedures.typed.declared.conditions import CONDITIONS_CSV
from calib.procedures.typed.declared.events import CHECKS_CSV, EVENTS_CSV, PAIRINGS_CSV
from calib.procedures.typed.declared.factors import FACTOR_PAIRS_CSV, FACTORS_CSV
from calib.procedures.typed.declared.house import COMPETENCES_CSV, HOUSE_RULES_CSV, PEOPLE_ON_RECORD, VALIDATIONS_CSV
from calib.procedures.typed.declared.instruments import INSTRUMENT_AMENDMENTS_CSV, INSTRUMENTS_CSV
from calib.procedures.typed.declared.jobs import AIR_CSV, JOB_AMENDMENTS_CSV, JOBS_CSV, ROOMS_CSV, SYSTEMS_CSV
from calib.procedures.typed.declared.methods import METHOD_AMENDMENTS_CSV, METHODS_CSV
from calib.procedures.typed.declared.outlets import AMENDMENTS_CSV, OUTLETS_CSV
from calib.procedures.typed.declared.readings import READINGS_CSV, TRAVERSES_CSV
from calib.procedures.typed.declared.reviews import REVIEW_DECISIONS_CSV
from calib.procedures.typed.declared.signatures import LABORATORY_CERTIFICATES_CSV
from calib.procedures.typed.declared.sources import SOURCE_SPELLINGS_CSV, SOURCES_CSV
from calib.procedures.typed.spelling import spelled_alike

_DECLARED = (
    INSTRUMENTS_CSV,
    CALIBRATIONS_CSV,
    COMPARISONS_CSV,
    CORRELATIONS_CSV,
    METHODS_CSV,
    SOURCES_CSV,
    SOURCE_SPELLINGS_CSV,
    JOBS_CSV,
    SYSTEMS_CSV,
    ROOMS_CSV,
    AIR_CSV,
    OUTLETS_CSV,
    READINGS_CSV,
    TRAVERSES_CSV,
    CONDITIONS_CSV,
    EVENTS_CSV,
    CHECKS_CSV,
    PAIRINGS_CSV,
    CURVES_CSV,
    SUPERSESSIONS_CSV,
    WITHDRAWALS_CSV,
    FACTORS_CSV,
    FACTOR_PAIRS_CSV,
    AMENDMENTS_CSV,
    INSTRUMENT_AMENDMENTS_CSV,
    METHOD_AMENDMENTS_CSV,
    JOB_AMENDMENTS_CSV,
    REVIEW_DECISIONS_CSV,
    HOUSE_RULES_CSV,
    COMPETENCES_CSV,
    VALIDATIONS_CSV,
    LABORATORY_CERTIFICATES_CSV,
)
DECLARED = {each.table: each for each in (*_DECLARED, PEOPLE_ON_RECORD)}
# File name -> what it holds and its columns, in the order in which files are read.
FILES = {each.file: each for each in _DECLARED}
NAMES_OF_FILES = tuple(each.name for each in _DECLARED)
_BY_SPELLING = {spelled_alike(each.name): each for each in _DECLARED}


def declared_as(name: str) -> Declaration | None:
    """What a sheet of a name holds, however that is spelled; None where it is none of them."""
    return _BY_SPELLING.get(spelled_alike(name))
