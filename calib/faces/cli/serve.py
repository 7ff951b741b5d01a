"""The command `serve`: pages in a browser."""

from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Annotated

import typer

from calib.errors import BadInputError, CalibError, Finding
from calib.faces.cli.frame import Desk, Reply, group, reads, say

if TYPE_CHECKING:
    from calib.faces.pages.frame.served import Served

app = group()

CredentialsFile = Annotated[
    Path | None,
    typer.Option(
        "--credentials",
        metavar="FILE",
        help="How people prove who they are; beside the records if not given (of a file).",
    ),
]
BaseAddress = Annotated[
    str | None,
    typer.Option("--base-address", metavar="URL", help="How a browser reaches it, like https://calib.example."),
]
Port = Annotated[
    int, typer.Option("--port", metavar="PORT", min=0, max=65535, help="0 for any that is free.", show_default=True)
]
DEFAULT_PORT = 8417


@reads(app, "serve")
def serve(
    desk: Desk,
    port: Port = DEFAULT_PORT,
    base_address: BaseAddress = None,
    lan: Annotated[bool, typer.Option("--lan", help="Serve other machines too, and not this one alone.")] = False,
    certificate: Annotated[Path | None, typer.Option(metavar="FILE", help="For HTTPS: the certificate (PEM).")] = None,
    key: Annotated[Path | None, typer.Option(metavar="FILE", help="For HTTPS: its private key (PEM).")] = None,
    unencrypted: Annotated[
        bool, typer.Option("--unencrypted", help="With --lan and no certificate: passwords may be read on the way.")
    ] = False,
    credentials: CredentialsFile = None,
) -> Reply:
    """Serve pages in a browser, until it is ended: the day's work on a phone at the outlet, without a command line.

    It serves this machine alone unless --lan says otherwise. Who may sign in: calib person enrol.

    Example: calib serve
    """
    pages = extra_of_pages()
    if (certificate is None) != (key is None):
        raise BadInputError([Finding.typed("certificate", None, "--certificate and --key together")])
    if lan and certificate is None and not unencrypted:
        expected = "--certificate and --key, so that nobody reads passwords on the way (--unencrypted serves without)"
        raise BadInputError([Finding.typed("lan", None, expected)])
    if lan and base_address is None:
        raise BadInputError([Finding.typed("base_address", None, "how other machines reach this one")])
    scheme = "http" if certificate is None else "https"
    place = credentials_of(desk.records, credentials)
    with pages.bound(pages.EVERY_ADDRESS if lan else pages.THIS_MACHINE, port) as listening:
        pages.serve_pages(
            desk.records,
            place,
            listening,
            base_address_or(base_address, f"{scheme}://localhost:{listening.getsockname()[1]}"),
            None if certificate is None or key is None else (certificate, key),
            lambda served: say(f"serving {served.base_address} until Ctrl-C"),
            is_behind_proxy=base_address is not None and not lan,
        )
    return Reply({}, "")


def served_demo(into: Path, port: int) -> Reply:
    """Make the demo's records in a folder, and serve them with a one-time link for each of its people."""
    import secrets

    from calib.clock import clock
    from calib.faces.demo import DEMO_PEOPLE, add_demo_people, run_demo

    pages = extra_of_pages()

    def ready(served: "Served") -> None:
        say(f"serving {served.base_address} until Ctrl-C; each link works once:")
        for name, role in DEMO_PEOPLE.items():
            link = secrets.token_urlsafe(32)
            served.credentials.enrol(name, None, link, clock())
            say(f"  {name}, {role}: {served.base_address}/enrol/{link}")

    with pages.bound(pages.THIS_MACHINE, port) as listening:
        records = str(run_demo(into, say)["records"])
        add_demo_people(records, clock())
        address = f"http://localhost:{listening.getsockname()[1]}"
        pages.serve_pages(
            records, credentials_of(records, None), listening, address, None, ready, is_behind_proxy=False
        )
    return Reply({}, "")


def base_address_or(typed: str | None, otherwise: str) -> str:
    """The base address as typed, or another; raises CalibError."""
    from calib.faces.pages.frame.served import base_address_of

    return otherwise if typed is None else base_address_of(typed)


def credentials_of(records: str, typed: Path | None) -> Path:
    """The file of credentials: as typed, or beside a file of records; raises CalibError for a server without."""
    from calib.records.location import Server, located

    place = located(records)
    if typed is not None:
        return typed
    if isinstance(place, Server):
        raise BadInputError(
            [Finding.typed("credentials", None, "a file of this machine, since the records are on a server")]
        )
    return place.with_name(f"{place.name}.credentials")


def extra_of_pages() -> ModuleType:
    """What serves pages; raises CalibError where its packages are not installed."""
    try:
        from calib.faces.pages.frame import serve as pages
    except ModuleNotFoundError as error:
        raise CalibError(
            f"pages need packages that are not installed ({error.name}): pip install 'calib[pages]'"
        ) from error
    return pages
