"""Where records live: a file, or a database on a PostgreSQL server that its URL names."""

import os
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import unquote

from sqlalchemy import URL
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError

from calib.errors import RecordsError, Step

# Of libpq. A network that is gone is noticed within a minute; what the URL says itself goes before these.
_DEFAULTS = {
    "application_name": "calib",
    "connect_timeout": "10",  # [s]
    "keepalives_idle": "20",  # [s]
    "keepalives_interval": "10",  # [s]
    "keepalives_count": "3",
    "tcp_user_timeout": "60000",  # [ms]
}
_THIS_MACHINE = ("localhost", "127.0.0.1", "::1")
_FORM = "postgresql://user@host/database"
_UNREADABLE = (
    f"the URL of the records cannot be read: write it as {_FORM}, several hosts as "
    "postgresql://user@host:5432,other:5432/database, a port as a number"
)

# How libpq names its hosts and SQLAlchemy does not: one behind the other, each with its port, or a socket's folder with %2F.
_LOGIN_BEFORE = re.compile(r"[^:/]*(:[^@]*)?@")
_HOSTS = re.compile(r"[^/?@]*(,|%2F)[^/?@]*", re.IGNORECASE)
_HOST = re.compile(r"(?:\[(?P<number>[^\[\]]*)\]|(?P<name>[^:\[\]]*))(?::(?P<port>\d*))?")

# What was meant for a server, and would be made into a file's name with the password in it: a URL that lacks something, words of
# libpq, a login without a scheme. A letter before a colon is a drive.
_LACKING = re.compile(r"\s*postgres(ql)?(\+\w*)?\s*([:;]|//)", re.IGNORECASE)
_KEYWORDS = re.compile(
    r"(^|[\s?&;])(host|hostaddr|port|dbname|user|password|passfile|passwd|sslpassword|service|sslmode)\s*=",
    re.IGNORECASE,
)
_LOGIN = re.compile(r"(?![A-Za-z]:[\\/]).*:.*@", re.DOTALL)


@dataclass(frozen=True)
class Server:
    """A database on a PostgreSQL server; as text without password and options, so that messages may name it."""

    url: URL  # what is sent to the driver, password and defaults among it

    def __str__(self) -> str:
        url, query = self.url, self.url.query
        shown = URL.create(
            "postgresql",
            username=url.username,
            host=url.host,
            port=url.port,
            database=url.database,
            query={name: query[name] for name in ("host", "port") if name in query},
        )
        return shown.render_as_string().replace("%2C", ",")


def located(location: str) -> Path | Server:
    """The file or the server that a location names; raises RecordsError, in whose text no password stands."""
    scheme, separator, rest = location.partition("://")
    if not separator:
        return _file(location)
    if scheme.lower() == "sqlite":
        return _file(rest.removeprefix("/"))
    if scheme.lower() in ("postgresql", "postgres"):
        return _server(rest)
    # What stands before :// may be anything, a password among it, if it is no name of a scheme.
    shown = f"{scheme}://" if re.fullmatch(r"[A-Za-z][A-Za-z0-9+.-]{0,20}|", scheme) else "such a URL"
    raise RecordsError(f"records at {shown} are not served: name a file, or a database as {_FORM}")


def _file(location: str) -> Path:
    if location in ("", ":memory:"):
        raise RecordsError(f"{location!r} names no file: {Step.NAME_FILE}")
    if _LACKING.match(location):  # a password may follow: it must not be repeated as a file's name
        raise RecordsError(f"the URL of the records lacks a /: write it as {_FORM}")
    if _KEYWORDS.search(location) or _LOGIN.match(location):
        raise RecordsError(f"that reads like a database on a server, and is no name of a file: write it as {_FORM}")
    return Path(location)


def _server(named: str) -> Server:
    """The server that a URL names, given without its scheme."""
    named, hosts = _hosts_apart(named)
    try:
        url = make_url(f"postgresql+psycopg://{named}").update_query_dict(hosts)
        url.get_dialect()().create_connect_args(url)  # where hosts and ports are held against one another
    except (ArgumentError, ValueError):
        raise RecordsError(_UNREADABLE) from None
    if "@" in (url.host or ""):
        raise RecordsError("the password in the URL of the records has an @: write %40 for it, or use PGPASSWORD")
    if "@" in (url.database or ""):
        raise RecordsError(f"the URL of the records has an @ behind the name of the database: write it as {_FORM}")
    if not url.database:
        raise RecordsError(f"the URL of the records names no database: write it as {_FORM}")
    return Server(url.set(query=_DEFAULTS | _encrypted(url, os.environ) | dict(url.query)))


def _hosts_apart(named: str) -> tuple[str, dict[str, str]]:
    """A URL without the hosts that SQLAlchemy cannot read where they stand, and these as the options `host` and `port`."""
    login = _LOGIN_BEFORE.match(named)
    hosts = _HOSTS.match(named, login.end() if login else 0)
    if hosts is None:
        return named, {}
    each = [_HOST.fullmatch(host) for host in hosts[0].split(",")]
    parted = [(unquote(host["number"] or host["name"] or ""), host["port"] or "") for host in each if host]
    if len(parted) < len(each):
        raise RecordsError(_UNREADABLE)
    options = {"host": ",".join(host for host, _ in parted), "port": ",".join(port for _, port in parted)}
    return named[: hosts.start()] + named[hosts.end() :], {
        name: value for name, value in options.items() if value.strip(",")
    }


def _encrypted(url: URL, environment: Mapping[str, str]) -> dict[str, str]:
    """TLS is required on the way to another machine, unless the URL or PGSSLMODE says what is wanted."""
    named = url.query.get("host") or url.host or environment.get("PGHOST") or "localhost"
    hosts = named.split(",") if isinstance(named, str) else named
    within = all(
        host.startswith(("/", "@")) or host.partition(":")[0] in _THIS_MACHINE or host == "::1" for host in hosts
    )
    return {} if within or "PGSSLMODE" in environment else {"sslmode": "require"}
