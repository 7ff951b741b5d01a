"""Passkeys: a device proves that its owner is there, and no secret leaves it (W3C Web Authentication, level 2)."""

import json
from collections.abc import Mapping
from datetime import timedelta
from hashlib import sha256
from typing import Any

from webauthn import (
    generate_authentication_options,
    generate_registration_options,
    options_to_json,
    verify_authentication_response,
    verify_registration_response,
)
from webauthn.helpers import base64url_to_bytes
from webauthn.helpers.exceptions import WebAuthnException
from webauthn.helpers.structs import (
    AuthenticatorSelectionCriteria,
    PublicKeyCredentialDescriptor,
    ResidentKeyRequirement,
    UserVerificationRequirement,
)

from calib.errors import CalibError
from calib.faces.pages.frame.routes import Document, Goto, Pages
from calib.faces.pages.frame.visit import MayNotError, Visit, roles_on_record
from calib.faces.pages.sign_in import begun, person_of
from calib.records.credentials import Passkey

pages = Pages()
FRESH = timedelta(minutes=15)  # since the person signed in: who finds a phone lying about adds no key of their own
_LONGEST_NAME = 60
_NOT_KNOWN = "this passkey is not known here: sign in by a password, or ask QA for a link"


@pages.takes("/passkey/ask", open_to_all=True)
def ask(visit: Visit) -> Document:
    """What a device is to sign so that its owner is let in."""
    options = generate_authentication_options(
        rp_id=visit.served.host, user_verification=UserVerificationRequirement.REQUIRED
    )
    visit.served.credentials.set_challenge(visit.secret, options.challenge, visit.at)
    return Document(json.loads(options_to_json(options)))


@pages.takes("/passkey", open_to_all=True)
def let_in(visit: Visit) -> Document:
    """Begin a session of whoever's device has signed that."""
    credentials, sent = visit.served.credentials, _sent(visit)
    challenge = _challenge(visit)
    passkey = credentials.passkey(_id_of(sent))
    if passkey is None:
        raise MayNotError(_NOT_KNOWN)
    try:
        verified = verify_authentication_response(
            credential=dict(sent),
            expected_challenge=challenge,
            expected_rp_id=visit.served.host,
            expected_origin=visit.served.base_address,
            credential_public_key=passkey.public_key,
            credential_current_sign_count=passkey.uses,
            require_user_verification=True,
        )
    except WebAuthnException as error:
        raise MayNotError(_NOT_KNOWN) from error
    enrolled = credentials.enrolled(passkey.person)
    if enrolled is None or not roles_on_record(visit.served, enrolled, visit.at):
        raise MayNotError(_NOT_KNOWN)
    credentials.count_passkey(passkey.id, verified.new_sign_count)
    return _gone(begun(visit, passkey.person, str(visit.form.document.get("to", ""))))


@pages.takes("/account/passkey/ask")
def ask_for_another(visit: Visit) -> Document:
    """What a device needs to make a key for whoever is signed in."""
    must_be_fresh(visit)
    return _to_make(visit, visit.person)


@pages.takes("/account/passkey")
def add(visit: Visit) -> Document:
    """Keep the key that a device has made."""
    must_be_fresh(visit)
    passkey = _made(visit, visit.person)
    visit.served.credentials.add_passkey(passkey)
    return Document({"goto": "/account"})


@pages.takes("/account/passkey/remove")
def remove(visit: Visit) -> Goto:
    """Let a key count no longer, and sign every other device out; nobody locks themselves out by that."""
    credentials, key = visit.served.credentials, _bytes_of(visit.form["key"])
    enrolled, keys = credentials.enrolled(visit.person), credentials.passkeys_of(visit.person)
    if enrolled is not None and enrolled.password is None and [each.id for each in keys] == [key]:
        raise MayNotError("this is all that you sign in by: set a password first")
    credentials.remove_passkey(visit.person, key, visit.secret)
    return Goto("/account", said="the passkey counts no longer; every other device was signed out")


@pages.takes("/enrol/{link:name}/passkey/ask", open_to_all=True)
def ask_for_first(visit: Visit, link: str) -> Document:
    """What a device needs to make a key for whoever has a one-time link."""
    return _to_make(visit, person_of(visit, link))


@pages.takes("/enrol/{link:name}/passkey", open_to_all=True)
def add_first(visit: Visit, link: str) -> Document:
    """Keep the first key and begin a session; the link is used up."""
    person = person_of(visit, link)
    if visit.served.credentials.use_link(link, visit.at, _made(visit, person)) is None:
        person_of(visit, link)
    return _gone(begun(visit, person, "/"))


def must_be_fresh(visit: Visit) -> None:
    """Raises MayNotError where the person signed in too long ago to add another way in."""
    if visit.since is None or visit.at - visit.since > FRESH:
        raise MayNotError(
            f"sign out and in again first: a way in is added within {FRESH.seconds // 60} minutes of that"
        )


def _to_make(visit: Visit, person: str) -> Document:
    credentials = visit.served.credentials
    options = generate_registration_options(
        rp_id=visit.served.host,
        rp_name="calib",
        user_name=person,
        user_display_name=person,
        user_id=sha256(person.encode()).digest(),  # one entry for each person in a device's list
        authenticator_selection=AuthenticatorSelectionCriteria(
            resident_key=ResidentKeyRequirement.REQUIRED, user_verification=UserVerificationRequirement.REQUIRED
        ),
        exclude_credentials=[PublicKeyCredentialDescriptor(id=key.id) for key in credentials.passkeys_of(person)],
    )
    credentials.set_challenge(visit.secret, options.challenge, visit.at)
    return Document(json.loads(options_to_json(options)))


def _made(visit: Visit, person: str) -> Passkey:
    """The key that was sent, checked; raises MayNotError."""
    try:
        verified = verify_registration_response(
            credential=dict(_sent(visit)),
            expected_challenge=_challenge(visit),
            expected_rp_id=visit.served.host,
            expected_origin=visit.served.base_address,
            require_user_verification=True,
        )
    except WebAuthnException as error:
        raise MayNotError(f"the device's answer does not hold: {error}") from error
    if visit.served.credentials.passkey(verified.credential_id) is not None:
        raise MayNotError("this passkey is known already")
    typed = str(visit.form.document.get("name", "")).strip()[:_LONGEST_NAME]
    name = typed if typed and typed.isprintable() else "passkey"
    return Passkey(verified.credential_id, person, verified.credential_public_key, verified.sign_count, name, visit.at)


def _challenge(visit: Visit) -> bytes:
    challenge = visit.served.credentials.take_challenge(visit.secret, visit.at)
    if challenge is None:
        raise MayNotError("that took too long: try again")
    return challenge


class _NoCredentialError(CalibError):
    """What a script sent has no answer of a device in it."""


def _sent(visit: Visit) -> Mapping[str, Any]:
    sent = visit.form.document
    credential = sent.get("credential") if isinstance(sent, dict) else None
    if not isinstance(credential, dict):
        raise _NoCredentialError("no answer of a device was sent")
    return credential


def _id_of(sent: Mapping[str, Any]) -> bytes:
    return _bytes_of(str(sent.get("rawId", "")))


def _bytes_of(typed: str) -> bytes:
    try:
        return base64url_to_bytes(typed)
    except ValueError:
        return b""


def _gone(goto: Goto) -> Document:
    return Document({"goto": goto.address}, session=goto.session)
