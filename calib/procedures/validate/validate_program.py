"""Run the published checks on this machine, and record what they gave (ISO/IEC 17025:2017, 7.11.2)."""

import hashlib
import json
import math
import platform
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy
from sqlmodel import Session

from calib import __version__
from calib.procedures.on_record.validations import FAILED, PASSED
from calib.procedures.people.authorise import append
from calib.procedures.validate.checks import CHECKS, ComparedNumber, PublishedCheck
from calib.procedures.validate.published_digits import PublishedDigits, agrees_with
from calib.records import ledger
from calib.records.record import key
from calib.records.tables.reports import SoftwareValidation


@dataclass(frozen=True)
class CheckRun:
    """A source with each of its numbers, and those that do not agree."""

    source: str
    document: str
    of: str
    compared: tuple[ComparedNumber, ...]
    wrong: tuple[ComparedNumber, ...]


@dataclass(frozen=True)
class ProgramValidated:
    """What the checks gave on this machine."""

    version: str
    platform: str
    runs: tuple[CheckRun, ...]
    record_id: int | None = None  # absent: it was not recorded
    at: str | None = None

    @property
    def count(self) -> int:
        """Numbers that were compared."""
        return sum(len(each.compared) for each in self.runs)

    @property
    def wrong(self) -> int:
        """Numbers that do not agree."""
        return sum(len(each.wrong) for each in self.runs)

    @property
    def result(self) -> str:
        """Whether all of them agree."""
        return FAILED if self.wrong else PASSED

    def content(self) -> bytes:
        """What each number gave, as the records keep it: JSON."""
        told = [_told(each) for each in self.runs]
        head = {"version": self.version, "platform": self.platform, "result": self.result}
        return json.dumps(head | {"sources": told}, ensure_ascii=False, indent=1).encode()

    @property
    def sha256(self) -> str:
        """Digest of the content."""
        return hashlib.sha256(self.content()).hexdigest()


def _told(run: CheckRun) -> dict[str, Any]:
    numbers = [vars(each) | {"agrees": each not in run.wrong} for each in run.compared]
    return {"source": run.source, "document": run.document, "of": run.of, "numbers": numbers}


def run_checks(digits: PublishedDigits, checks: Sequence[PublishedCheck] = CHECKS) -> ProgramValidated:
    """Compare every published number with what this machine makes of it."""
    return ProgramValidated(__version__, this_platform(), tuple(_run(check, digits) for check in checks))


def this_platform() -> str:
    """What the numbers depend on beside the program."""
    return (
        f"{platform.system()} {platform.machine()}, Python {platform.python_version()}, numpy {np.__version__}, "
        f"scipy {scipy.__version__}"
    )


def _run(check: PublishedCheck, digits: PublishedDigits) -> CheckRun:
    compared = tuple(check.compared(digits))
    wrong = tuple(each for each in compared if not _agrees(each))
    return CheckRun(check.source, digits.source(check.source), check.of, compared, wrong)


def _agrees(compared: ComparedNumber) -> bool:
    if isinstance(compared.computed, str):
        return compared.computed == compared.printed
    return math.isfinite(compared.computed) and agrees_with(compared.computed, compared.printed, compared.units)


def record_validation(session: Session, validated: ProgramValidated, signature: ledger.Signature) -> ProgramValidated:
    """Append what the checks gave, whether they passed or failed; raises BadInputError where the person may not."""
    record = SoftwareValidation(
        at=signature.time.isoformat(timespec="seconds"),
        version=validated.version,
        platform=validated.platform,
        result=validated.result,
        checks=validated.count,
        content=validated.content(),
        sha256=validated.sha256,
    )
    append(session, [record], signature)
    return ProgramValidated(validated.version, validated.platform, validated.runs, key(record.id), record.at)
