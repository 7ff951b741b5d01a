"""A company's records served in pages, and visitors who use them as a browser does, without one.

    company = Company(records, folder)                 # with people of each role
    tom = company.signed_in("Tom")
    tom.get("/").text
    tom.fill_in("/account/password", before="...")   # with the token of the session

`people` are put on record by their roles; on a server they have logins, and the pages come by the login `calib_pages`.
"""

import re
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

from starlette.testclient import TestClient

from calib.faces.pages.frame.application import PAGES, application
from calib.faces.pages.frame.passwords import hash_of
from calib.faces.pages.frame.served import Served
from calib.procedures.people.persons_and_roles import PersonWanted, add_person, enrollable
from calib.records import database, ledger
from calib.records.credentials import Credentials

ADDRESS = "http://localhost:8417"
PASSWORD = "several plain words"  # noqa: S105 (of every person of the tests)
PEOPLE = {"Quinn": "QA", "Ed": "engineer", "Tom": "technician"}
ADDED = datetime(2026, 1, 5, 9, tzinfo=UTC)  # before whatever the tests record
_TOKEN = re.compile('<meta name="token" content="([^"]*)">')


def put_on_record(location, people=PEOPLE, login=str.casefold):
    """Put people on record, the first of them as QA; on a server each with a login."""
    is_server = str(location).startswith("postgresql")
    with database.writing(str(location)) as session:
        for name, role in people.items():
            signature = ledger.Signature("Quinn", ADDED, "person add")
            add_person(session, PersonWanted(name, login(name) if is_server else None, [role]), signature)


class Company:
    """Records that are served, with the credentials of their people."""

    def __init__(self, location, folder, people=PEOPLE, address=ADDRESS, pages=PAGES, more=()):
        self.address = address
        self.credentials = Credentials(Path(folder) / "credentials")
        self.engine = database.open_records(str(location))
        self.served = Served(self.engine, self.credentials, address)
        self.application = application(self.served, pages, more)
        self.people = people

    def enrol(self, name, link=None):
        """Enrol a person on record; a link that was not used yet, or a password that holds already."""
        with database.reading(self.engine) as session:
            person = enrollable(session, name, datetime.now(UTC) + timedelta(minutes=1))
        own = link or f"link of {name}"
        self.credentials.enrol(person.name, person.login, own, datetime.now(UTC))
        if link is None:
            self.credentials.use_link(own, datetime.now(UTC), hash_of(PASSWORD))

    def visitor(self, **headers):
        """Somebody with a browser whom nobody knows yet."""
        return Visitor(self.application, self.address, headers)

    def signed_in(self, name, **headers):
        """A person who has signed in."""
        if self.credentials.enrolled(name) is None:
            self.enrol(name)
        visitor = self.visitor(**headers)
        assert visitor.sign_in(name).status_code == 303
        return visitor


@contextmanager
def company(location, folder, **settings):
    """A company, its records closed in the end."""
    made = Company(location, folder, **settings)
    try:
        yield made
    finally:
        made.engine.dispose()


class Visitor(TestClient):
    """A browser without a screen: it keeps cookies, says where a request comes from, and follows nothing by itself."""

    def __init__(self, app, address, headers):
        super().__init__(app, base_url=address, follow_redirects=False, headers=headers)

    @property
    def token(self):
        """The token of the session, from a page."""
        page = self.get("/sign-in")
        return _TOKEN.search(page.text)[1]

    def fill_in(self, address, *, token=None, files=None, headers=None, **fields):
        """Send a form, with the token of the session where no other is given."""
        data = {"token": self.token if token is None else token} | fields
        return self.post(address, data=data, files=files, headers={"Sec-Fetch-Site": "same-origin"} | (headers or {}))

    def sign_in(self, name, password=PASSWORD, **fields):
        """Sign in by a password."""
        return self.fill_in("/sign-in", name=name, password=password, **fields)
