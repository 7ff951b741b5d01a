"""What is served, and where: the records, the credentials, the address, and what is one for all visits."""

from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass, field
from hashlib import sha256
from importlib.resources import files
from urllib.parse import urlsplit

from calib.errors import CalibError
from calib.faces.pages.frame.aside import Aside
from calib.faces.pages.frame.look import custom_properties
from calib.faces.report.page_style import style
from calib.records.credentials import Credentials
from calib.records.database import OpenRecords

COOKIE = "calib"
_KINDS = {
    "css": "text/css",
    "js": "text/javascript",
    "svg": "image/svg+xml",
    "png": "image/png",
    "json": "application/json",
}
_PACKAGE = "calib.faces.pages"


@dataclass(frozen=True)
class Asset:
    """A file that pages ask for beside themselves; its address changes with its content."""

    name: str
    content: bytes

    @property
    def address(self) -> str:
        """Where it is served."""
        return f"/assets/{sha256(self.content).hexdigest()[:16]}/{self.name}"

    @property
    def kind(self) -> str:
        """Its type of media."""
        return _KINDS[self.name.rpartition(".")[2]]


def assets() -> dict[str, Asset]:
    """Every asset by its name: those of the folder, the style with the colours before it."""
    folder = files(_PACKAGE).joinpath("assets")
    named = OrderedDict((file.name, file.read_bytes()) for file in sorted(folder.iterdir(), key=lambda file: file.name))
    named["calib.css"] = custom_properties().encode() + named["calib.css"]
    # What a report is set by counts within a page for the element of that class alone.
    named["report.css"] = f".report {{\n{style()}}}\n".encode() + named["report.css"]
    return {name: Asset(name, content) for name, content in named.items() if name.rpartition(".")[2] in _KINDS}


def version_of(named: Mapping[str, Asset]) -> str:
    """The version of the assets: pages of another one are never shown together with these."""
    return sha256("".join(asset.address for asset in named.values()).encode()).hexdigest()[:16]


@dataclass(frozen=True)
class Served:
    """The records that are served, kept open, and how a browser reaches them."""

    engine: OpenRecords
    credentials: Credentials
    base_address: str  # without a path: https://calib.example
    aside: Aside = field(default_factory=Aside, compare=False)
    verifying: Aside = field(default_factory=Aside, compare=False)  # apart: a report does not wait for it

    @property
    def is_secure(self) -> bool:
        """Whether a browser reaches it by HTTPS."""
        return self.base_address.startswith("https://")

    @property
    def cookie(self) -> str:
        """The name of the cookie; with HTTPS one that no other site and no other port can set."""
        return f"__Host-{COOKIE}" if self.is_secure else COOKIE

    @property
    def host(self) -> str:
        """The name by which a browser knows it: what a passkey is bound to."""
        return str(urlsplit(self.base_address).hostname)

    @property
    def takes_passkeys(self) -> bool:
        """Whether browsers know passkeys at such an address: by HTTPS or on this machine, and by a name (WebAuthn, 5.1.2)."""
        is_number = self.host.replace(".", "").isdigit() or ":" in self.host
        return not is_number and (self.is_secure or self.host == "localhost")

    @property
    def authority(self) -> str:
        """Host and port as a request names them."""
        return urlsplit(self.base_address).netloc.lower()


def base_address_of(typed: str) -> str:
    """A base address as typed, checked; raises CalibError where it is none."""
    parts = urlsplit(typed.strip())
    if (
        parts.scheme not in ("http", "https")
        or not parts.hostname
        or parts.path.strip("/")
        or parts.query
        or parts.username
    ):
        raise CalibError(f"{typed!r} is no base address: write it like https://calib.example, without a path")
    return f"{parts.scheme}://{parts.netloc.lower()}"
