"""The account of whoever is signed in: password and passkeys."""

from webauthn.helpers import bytes_to_base64url

from calib.confirmation.authority import ACTS
from calib.errors import BadInputError, Finding
from calib.faces.answers import roles as roles_answer
from calib.faces.pages.frame.passwords import is_password
from calib.faces.pages.frame.routes import Filled, Goto, Pages
from calib.faces.pages.frame.visit import Visit
from calib.faces.pages.passkeys import must_be_fresh
from calib.faces.pages.sign_in import await_turn, new_password, turn_taken

pages = Pages()


@pages.shows("/account", menu="Account")
def account(visit: Visit) -> Filled:
    """What the person signs in by, and what their roles let them do."""
    credentials = visit.served.credentials
    enrolled = credentials.enrolled(visit.person)
    keys = [
        {"key": bytes_to_base64url(key.id), "name": key.name, "since": str(key.added.date())}
        for key in credentials.passkeys_of(visit.person)
    ]
    content = {
        "passkeys": keys,
        "has_password": enrolled is not None and enrolled.password is not None,
        "may": [act["does"] for act in roles_answer.document(ACTS)["acts"] if visit.may(act["act"])],
    }
    return Filled("account.html", content, title="Account")


@pages.takes("/account/password", again=account)
def password(visit: Visit) -> Goto:
    """Keep another password; every other session of the person ends."""
    credentials = visit.served.credentials
    enrolled = credentials.enrolled(visit.person)
    before = None if enrolled is None else enrolled.password
    if before is None:
        must_be_fresh(visit)
    else:
        await_turn(visit, visit.person)
        if not is_password(visit.form["before"], before):
            raise BadInputError([Finding.typed("before", None, "the password that holds until now")])
        turn_taken(visit, visit.person)
    credentials.set_password(visit.person, new_password(visit, visit.person), visit.secret)
    return Goto("/account", said="the new password holds; every other device was signed out")
