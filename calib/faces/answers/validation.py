"""The published checks as the program passed them on this machine, as `calib validate` answers."""

from collections.abc import Sequence
from dataclasses import asdict

from calib.counted import count_of
from calib.faces.plain_text import table_text
from calib.faces.written import Content
from calib.procedures.on_record.validations import ValidationOnRecord
from calib.procedures.validate.validate_program import ProgramValidated


def document(validated: ProgramValidated) -> Content:
    """Each source with the count of its numbers and those that do not agree."""
    return {
        "validation": validated.record_id,
        "at": validated.at,
        "version": validated.version,
        "platform": validated.platform,
        "result": validated.result,
        "checks": validated.count,
        "sha256": validated.sha256,
        "sources": [
            {
                "source": run.source,
                "document": run.document,
                "of": run.of,
                "checks": len(run.compared),
                "wrong": [asdict(each) for each in run.wrong],
            }
            for run in validated.runs
        ],
    }


def text(answer: Content) -> str:
    """The same for people."""
    rows = [
        (source["of"], str(source["checks"]), "all agree" if not source["wrong"] else _wrong(source["wrong"]))
        for source in answer["sources"]
    ]
    recorded = f"recorded as validation {answer['validation']}" if answer["validation"] is not None else "not recorded"
    checks = count_of(answer["checks"], "published number", "published numbers")
    return "\n".join(
        [
            table_text(("what", "numbers", "result"), rows),
            f"{answer['result']}: {checks} on {answer['platform']}, calib {answer['version']}; {recorded}",
            f"SHA-256 {answer['sha256']}",
        ]
    )


def _wrong(numbers: Sequence[Content]) -> str:
    return "; ".join(f"{each['symbol']}: {each['computed']} where {each['printed']} is printed" for each in numbers)


def list_document(recorded: Sequence[ValidationOnRecord]) -> Content:
    """Every validation on record."""
    return {"validations": [asdict(each) for each in recorded]}


def list_text(answer: Content) -> str:
    """The same for people."""
    if not answer["validations"]:
        return "no validation is on record"
    header = ("at", "version", "result", "numbers", "platform", "recorded by", "SHA-256")
    return table_text(
        header,
        [
            (
                each["at"], each["version"], each["result"], str(each["checks"]), each["platform"], each["by"],
                each["sha256"][:12],
            )
            for each in answer["validations"]
        ],
    )  # fmt: skip
