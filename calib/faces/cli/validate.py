"""The command that validates the program on this machine."""

from typing import Annotated

import typer

from calib.faces.cli.frame import Desk, Reply, group, writes

app = group()


@writes(app, "validate")
def validate(
    desk: Desk,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Run the checks and record nothing.")] = False,
    listed: Annotated[bool, typer.Option("--list", help="List the validations on record, and run nothing.")] = False,
) -> Reply:
    """Run the published checks that ship with the program on this machine, and record what they gave; exit status 1 if one fails.

    Reports cite the latest validation of the version that writes them, and the assessor's page asks for it.

    Example: calib validate
    """
    from calib.faces.answers import validation as answer

    if listed:
        from calib.procedures.on_record.validations import validations

        return Reply(answer.list_document(validations(desk.reading())), answer.list_text)
    from calib.faces.files import published_file
    from calib.procedures.on_record.validations import PASSED
    from calib.procedures.validate.published_digits import PublishedDigits
    from calib.procedures.validate.validate_program import record_validation, run_checks

    validated = run_checks(PublishedDigits(published_file))
    if not dry_run:
        validated = record_validation(desk.writing(), validated, desk.signature())
    return Reply(answer.document(validated), answer.text, status=int(validated.result != PASSED))
