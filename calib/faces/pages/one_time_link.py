"""A one-time link by which a person begins to sign in, made and shown once by a page to QA.

Decision (2026-11-30). QA makes the link on a page, after their own password once more, or within minutes of signing in. Options:
only who has a shell on the server (then one administrator lets everybody in, and a lost phone waits for them), a link sent by mail
(the program sends none, and a mailbox would be a key). Cost: whoever has QA's password, and not only a session left open, can begin
anew as any person and sign as them; that person notices, since whatever they signed in by ends, and the server's log says it.
"""

import logging
import secrets

import segno
from markupsafe import Markup

from calib.faces.pages.account import must_prove, own_password
from calib.faces.pages.frame.form import FormField
from calib.faces.pages.frame.routes import Filled, Pages
from calib.faces.pages.frame.visit import Visit
from calib.faces.pages.people import PERSON, form_of_person
from calib.faces.written import moment_text
from calib.procedures.people.persons_and_roles import enrollable
from calib.records.credentials import LINK_LASTS

pages = Pages()
_LINK = f"{PERSON}/link"
_LOG = logging.getLogger("calib.pages")


@pages.shows(_LINK, act="people")
def link_asked(visit: Visit, person: str) -> Filled:
    """Say what a link does, and ask who wants it to prove that it is them."""
    enrollable(visit.reading(), person, visit.at)
    fields = (FormField("own_password", f"Password of {visit.person}", kind="password", required=True),)
    told = (
        f"With it {person} chooses a password or makes a passkey. It works once, and is shown once.",
        f"Whatever {person} signed in by until now ends. Whoever has the link becomes {person}: hand it over as a key.",
    )
    asked = () if own_password(visit) is None else fields
    return form_of_person(person, "link", f"A link for {person}", asked, "Make the link", told)


@pages.takes(_LINK, again=link_asked, act="people")
def link_made(visit: Visit, person: str) -> Filled:
    """Make it, and show it this once: it is kept by its digest alone."""
    record = enrollable(visit.reading(), person, visit.at)
    must_prove(visit, "own_password")
    secret = secrets.token_urlsafe(32)
    visit.served.credentials.enrol(record.name, record.login, secret, visit.at)
    _LOG.warning("%r made a one-time link for %r", visit.person, record.name)
    link = f"{visit.served.base_address}/enrol/{secret}"
    # Dark and light modules alone, no text: nothing in it was typed by anybody.
    code = Markup(segno.make_qr(link).svg_inline(border=4, omitsize=True, light="#fff", lineclass=None, svgclass=None))  # noqa: S704
    content = {
        "person": record.name,
        "link": link,
        "code": code,
        "until": moment_text((visit.at + LINK_LASTS).isoformat(timespec="minutes")),
    }
    return Filled("one_time_link.html", content, title=f"A link for {record.name}")
