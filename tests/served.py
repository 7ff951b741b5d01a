"""A company's records served in pages, and visitors who use them as a browser does, without one.

    with company(records, folder) as served:
        tom = served.signed_in("Tom")
        tom.get("/").text
        tom.fill_in("/account/password", before="...")   # with the token of the session

On a server each person has a login, and the pages come by the login `calib_pages`.
"""

import re
from contextlib import closing, contextmanager
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path

import psycopg
from anyio.from_thread import start_blocking_portal
from argon2 import PasswordHasher
from sqlmodel import select
from starlette.testclient import TestClient

from calib.faces.files import import_folders
from calib.faces.pages.frame.application import PAGES, application
from calib.faces.pages.frame.served import Served
from calib.procedures.people.grants import PAGES_LOGIN, grants
from calib.procedures.people.persons_and_roles import PersonWanted, add_person, enrollable
from calib.records import database, ledger
from calib.records.credentials import Credentials
from calib.records.tables.people import Person
from tests.postgres import database_of

ADDRESS = "http://localhost:8417"
PASSWORD = "several plain words"  # noqa: S105 (of every person of the tests)
PEOPLE = {"Quinn": "QA", "Ed": "engineer", "Tom": "technician"}
ADDED = datetime(2026, 1, 5, 9, tzinfo=UTC)  # before whatever the tests record
_TOKEN = re.compile('<meta name="token" content="([^"]*)">')


@cache
def _quick_hash():
    """The hash of their password as the program keeps one (Argon2id), but quick to try: a hash says by itself what a try costs."""
    return PasswordHasher(time_cost=1, memory_cost=8, parallelism=1).hash(PASSWORD)


def put_on_record(location, people=PEOPLE, login=lambda _: None):
    """Put people on record, the first of them as QA."""
    with database.writing(str(location)) as session:
        for name, role in people.items():
            signature = ledger.Signature("Quinn", ADDED, "person add")
            add_person(session, PersonWanted(name, login(name), [role]), signature)


def staffed(location):
    """Whether anybody is on record."""
    with database.reading(str(location)) as session:
        return session.exec(select(Person)).first() is not None


def put_on_server(server, url, people=PEOPLE):
    """The same on a server, where each has a login of their name, and is let do what their roles allow; the URL of the pages."""
    # Without the first the owner of the tables may not write on: names are checked from then on.
    first, *others = people
    put_on_record(url, {first: people[first]}, str.casefold)
    refreshed(url)
    of_first = server.url(database_of(url), first.casefold())
    put_on_record(of_first, {name: people[name] for name in others}, str.casefold)
    refreshed(url)
    return pages_of(server, url)


def pages_of(server, url):
    """The URL by which the pages come to a database of a server."""
    return server.url(database_of(url), PAGES_LOGIN)


def refreshed(url):
    """Run what `calib person grants` prints, as the owner of the tables."""
    with database.reading(url) as session:
        lines = grants(session, datetime.now(UTC))
    with closing(psycopg.connect(url, autocommit=True)) as connection:
        connection.execute("\n".join(lines))


class Company:
    """Records that are served, with the credentials of their people."""

    def __init__(self, location, folder, records=None, address=ADDRESS, pages=PAGES, more=()):
        self.address = address
        self.location = str(location)  # as the pages come to it
        self.records = str(records or location)  # for whoever enrols: on a server not by the login of the pages
        self.credentials = Credentials(Path(folder) / "credentials")
        self.engine = database.open_records(str(location))
        self.served = Served(self.engine, self.credentials, address)
        self.application = application(self.served, pages, more)
        self.portal = None  # to the loop in which all is answered; without it each request has one of its own

    def enrol(self, name, link=None):
        """Enrol a person on record; a link that was not used yet, or a password that holds already."""
        with database.reading(self.records) as session:
            person = enrollable(session, name, datetime.now(UTC) + timedelta(minutes=1))
        own = link or f"link of {name}"
        self.credentials.enrol(person.name, person.login, own, datetime.now(UTC))
        if link is None:
            self.credentials.use_link(own, datetime.now(UTC), _quick_hash())

    def writing_as(self, name):
        """A session in which a person writes past the pages; on a server by their login."""
        self.enrol(name)
        return database.writing(database.acting_as(self.engine, self.credentials.enrolled(name).login))

    def imports(self, folder, person="Quinn", at=ADDED + timedelta(minutes=1)):
        """A person imports a folder, past the pages."""
        with self.writing_as(person) as session:
            import_folders(session, [folder], ledger.Signature(person, at, "import"), at)

    def visitor(self, **headers):
        """Somebody with a browser whom nobody knows yet."""
        return Visitor(self.application, self.address, headers, self.portal)

    def signed_in(self, name, **headers):
        """A person who has signed in."""
        if self.credentials.enrolled(name) is None:
            self.enrol(name)
        visitor = self.visitor(**headers)
        assert visitor.sign_in(name).status_code == 303
        return visitor


@contextmanager
def company(location, folder, **settings):
    """A company, served in one loop as by a server; its records are closed in the end."""
    made = Company(location, folder, **settings)
    try:
        with start_blocking_portal() as made.portal:
            yield made
    finally:
        made.engine.dispose()


class Visitor(TestClient):
    """A browser without a screen: it keeps cookies, says where a request comes from, and follows nothing by itself."""

    def __init__(self, app, address, headers, portal):
        super().__init__(app, base_url=address, follow_redirects=False, headers=headers)
        self.portal = portal

    @property
    def token(self):
        """The token of the session, from a page."""
        page = self.get("/sign-in")
        return _TOKEN.search(page.text)[1]

    def fill_in(self, address, /, *, token=None, files=None, headers=None, **fields):
        """Send a form, with the token of the session where no other is given."""
        data = {"token": self.token if token is None else token} | fields
        return self.post(address, data=data, files=files, headers={"Sec-Fetch-Site": "same-origin"} | (headers or {}))

    def sign_in(self, name, password=PASSWORD, **fields):
        """Sign in by a password."""
        return self.fill_in("/sign-in", name=name, password=password, **fields)
