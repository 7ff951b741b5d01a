"""The account of whoever is signed in: password, sessions."""

from calib.errors import BadInputError, Finding
from calib.faces.pages.frame.passwords import is_password
from calib.faces.pages.frame.routes import Goto, Pages, Shown
from calib.faces.pages.frame.visit import Visit
from calib.faces.pages.sign_in import new_password

pages = Pages()


@pages.shows("/account", menu="Account")
def account(visit: Visit) -> Shown:
    """What the person signs in by."""
    return Shown("account.html", {}, title="Account")


@pages.takes("/account/password", again=account)
def password(visit: Visit) -> Goto:
    """Keep another password; every other session of the person ends."""
    credentials = visit.served.credentials
    enrolled = credentials.enrolled(visit.person)
    before = None if enrolled is None else enrolled.password
    if before is not None and not is_password(visit.form["before"], before):
        raise BadInputError([Finding.typed("before", None, "the password that holds until now")])
    credentials.set_password(visit.person, new_password(visit, visit.person), visit.secret)
    return Goto("/account", said="the new password holds; every other device was signed out")
