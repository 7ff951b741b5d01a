"""Sign in by password, and out; begin by a one-time link."""

import secrets
from ipaddress import ip_address, ip_network
from math import ceil

from calib.errors import BadInputError, Finding
from calib.faces.pages.frame.passwords import expected_password, hash_of, is_password
from calib.faces.pages.frame.routes import Filled, Goto, Pages, is_within
from calib.faces.pages.frame.visit import MayNotError, Visit, roles_on_record

pages = Pages()


@pages.shows("/sign-in", open_to_all=True)
def sign_in(visit: Visit) -> Filled:
    """Ask who it is."""
    return Filled("sign_in.html", {"to": visit.form["to"] or visit.asked.get("to", "/")}, title="Sign in")


@pages.takes("/sign-in", again=sign_in, open_to_all=True)
def signed_in(visit: Visit) -> Goto:
    """Begin a session of whoever knows a password."""
    name, credentials = visit.form["name"].strip(), visit.served.credentials
    await_turn(visit, name)
    enrolled = credentials.enrolled(name)
    is_right = is_password(visit.form["password"], None if enrolled is None else enrolled.password)
    if enrolled is None or not is_right or not roles_on_record(visit.served, enrolled, visit.at):
        raise BadInputError([Finding.typed("password", None, "a name and a password that belong together")])
    turn_taken(visit, name)
    return begun(visit, enrolled.person, visit.form["to"])


@pages.takes("/sign-out")
def sign_out(visit: Visit) -> Goto:
    """End the session, here and on the server."""
    visit.served.credentials.end_session(visit.secret)
    return Goto("/sign-in", session="")


@pages.shows("/enrol/{link:name}", open_to_all=True)
def enrol(visit: Visit, link: str) -> Filled:
    """Ask for a first password, where the link still holds; looking at it does not use it up."""
    return Filled("enrol.html", {"link": link, "person": person_of(visit, link)}, title="Begin")


@pages.takes("/enrol/{link:name}", again=enrol, open_to_all=True)
def enrolled_(visit: Visit, link: str) -> Goto:
    """Keep the first password and begin a session; the link is used up."""
    person = person_of(visit, link)
    hashed = new_password(visit, person)
    if visit.served.credentials.use_link(link, visit.at, hashed) is None:
        raise MayNotError(_USED)
    return begun(visit, person, "/")


_USED = "this link was used already, or is too old: ask QA for another"


def person_of(visit: Visit, link: str) -> str:
    """Whose link it is; raises MayNotError where it was used or is too old."""
    person = visit.served.credentials.person_of_link(link, visit.at)
    if person is None:
        raise MayNotError(_USED)
    return person


def new_password(visit: Visit, person: str) -> str:
    """The hash of a password typed twice; raises BadInputError with every finding."""
    password, findings = visit.form["password"], []
    expected = expected_password(password, person)
    if expected is not None:
        findings.append(Finding.typed("password", None, expected))
    if password != visit.form["again"]:
        findings.append(Finding.typed("again", None, "the same password once more"))
    if findings:
        raise BadInputError(findings)
    return hash_of(password)


def begun(visit: Visit, person: str, to: str) -> Goto:
    """A session that begins, under a secret that nobody has seen before; the one before ends. It goes on where it was wanted."""
    secret = secrets.token_urlsafe(32)
    visit.served.credentials.end_session(visit.secret)
    visit.served.credentials.begin_session(secret, person, visit.at)
    return Goto(to if is_within(to) else "/", session=secret)


def network_of(address: str) -> str:
    """Whose tries are counted together: an address, of the sixth version the network that one customer has (RFC 6177)."""
    try:
        own = ip_address(address)
    except ValueError:  # a socket of this machine
        return address
    return address if own.version == 4 else str(ip_network((own, 64), strict=False))


def await_turn(visit: Visit, name: str) -> None:
    """Count a try; raises where there were too many."""
    wait = visit.served.credentials.begin_try(name, network_of(visit.client), visit.at)
    if wait:
        raise MayNotError(f"too many tries: wait {ceil(wait.total_seconds())} s and try again")


def turn_taken(visit: Visit, name: str) -> None:
    """A try succeeded."""
    visit.served.credentials.end_try(name, network_of(visit.client))
