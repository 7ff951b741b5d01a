"""Every table, for whoever asks the whole of the records: the evidence, of which each record has a ledger entry, and the ledger."""

from collections.abc import Mapping

from sqlmodel import SQLModel

from calib.records.tables.calibrations import Acceptance, Calibration, ReferenceStandard, Withdrawal
from calib.records.tables.company import Company, HouseRule
from calib.records.tables.comparisons import Comparison, ComparisonCorrelation
from calib.records.tables.conditions import Condition
from calib.records.tables.curves import StoredCurve
from calib.records.tables.custody import Anchor, BackupMade, ClockStep, LedgerBreak
from calib.records.tables.entries import Attempt, Retraction, SentEntry
from calib.records.tables.events import Event, IntermediateCheck, Pairing
from calib.records.tables.factors import FactorPair, FoundFactor, Source, SourceSpelling
from calib.records.tables.files import Attached, Attachment
from calib.records.tables.instruments import Instrument, InstrumentRevision
from calib.records.tables.jobs import DeclaredAir, Job, JobRevision, Room, SystemDesign
from calib.records.tables.ledger import LedgerEntry
from calib.records.tables.methods import Method, MethodRevision
from calib.records.tables.outlets import Outlet, OutletRevision
from calib.records.tables.people import Competence, Person, PersonLogin, Role
from calib.records.tables.readings import LoggedSeries, Reading, Refusal, Traverse, TraversePoint
from calib.records.tables.reports import IssuedForm, IssuedReport, SoftwareValidation
from calib.records.tables.reviews import Disposition, ImpactLine, ImpactReview, ReviewDecision
from calib.records.tables.signatures import LaboratoryCertificate, SignatureVerdict
from calib.records.tables.supersessions import Supersession

EVIDENCE: tuple[type[SQLModel], ...] = (
    Instrument,
    Calibration,
    ReferenceStandard,
    Comparison,
    StoredCurve,
    Acceptance,
    Withdrawal,
    Event,
    IntermediateCheck,
    Method,
    Job,
    Outlet,
    LoggedSeries,
    Reading,
    Refusal,
    SystemDesign,
    Room,
    OutletRevision,
    Condition,
    Traverse,
    TraversePoint,
    FoundFactor,
    FactorPair,
    Attachment,
    Attached,
    Pairing,
    Person,
    Role,
    HouseRule,
    ImpactReview,
    ImpactLine,
    Disposition,
    IssuedReport,
    IssuedForm,
    InstrumentRevision,
    MethodRevision,
    JobRevision,
    DeclaredAir,
    Source,
    SourceSpelling,
    ComparisonCorrelation,
    Supersession,
    Retraction,
    SentEntry,
    SignatureVerdict,
    LaboratoryCertificate,
    PersonLogin,
    Competence,
    Company,
    ReviewDecision,
    SoftwareValidation,
    Attempt,
    BackupMade,
    Anchor,
    ClockStep,
    LedgerBreak,
)

EVIDENCE_NAMED: Mapping[str, type[SQLModel]] = {str(table.__tablename__): table for table in EVIDENCE}

EVERY_TABLE: tuple[type[SQLModel], ...] = (*EVIDENCE, LedgerEntry)

METADATA = SQLModel.metadata  # complete only once all of them are imported
