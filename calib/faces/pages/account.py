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


@pages.shows("/account")
def account(visit: Visit) -> Filled:
    """What the person signs in by, and what their roles let them do."""
    credentials = visit.served.credentials
    keys = [
        {"key": bytes_to_base64url(key.id), "name": key.name, "since": str(key.added.date())}
        for key in credentials.passkeys_of(visit.person)
    ]
    content = {
        "passkeys": keys,
        "has_password": own_password(visit) is not None,
        "may": [act["does"] for act in roles_answer.document(ACTS)["acts"] if visit.may(act["act"])],
    }
    return Filled("account.html", content, title="Account")


@pages.takes("/account/password", again=account)
def password(visit: Visit) -> Goto:
    """Keep another password; every other session of the person ends."""
    must_prove(visit, "before")
    visit.served.credentials.set_password(visit.person, new_password(visit, visit.person), visit.secret)
    return Goto("/account", said="the new password holds; every other device was signed out")


def own_password(visit: Visit) -> str | None:
    """The hash of the password that the person signs in by; None: who has none has passkeys alone."""
    enrolled = visit.served.credentials.enrolled(visit.person)
    return None if enrolled is None else enrolled.password


def must_prove(visit: Visit, column: str) -> None:
    """Whoever is signed in proves it once more: by the password typed in a field, without one by having just signed in.

    Raises BadInputError, MayNotError.
    """
    hashed = own_password(visit)
    if hashed is None:
        must_be_fresh(visit)
        return
    await_turn(visit, visit.person)
    if not is_password(visit.form[column], hashed):
        raise BadInputError([Finding.typed(column, None, "the password that holds until now")])
    turn_taken(visit, visit.person)
