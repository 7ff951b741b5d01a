"""Work without network: a worker that keeps the pages of a job in the browser, and readings that are sent when there is network.

The worker (`assets/worker.js`) hands out what it has kept where the server is not reached, with the time of it above; it keeps
pages of one person, and of one version of the assets. A reading that did not reach the server stands in the browser's own database
(`assets/queue.js`) until the person has seen what became of it (`assets/unsent.js`).

Decision (2026-11-29). A reading is sent by the page and not by the worker. Options: the worker by Background Sync (not in every
browser, and nobody is there to answer a question). Cost: somebody has to open a page.

Decision (2026-11-30). A reading that was asked back is changed under its own key. Options: a new one (then two stand in the phone
until the first is taken off). Nothing was written under that key; where it was after all, what is sent is found, or told.

Decision (2026-11-30). Corrections, traverses and photographs are not queued, and a page that was kept says so before anything is
typed. A correction is of what stands on record when it arrives, which the phone does not know; a traverse asks the server for each
of its points; a browser may drop what it keeps of photographs by their size. Cost: a slip seen in a basement is noted.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Any, Self

from sqlmodel import Session

from calib.errors import BadInputError, CalibError, DoubtError, Finding, RecordsError, RefusedError
from calib.faces.answers import entered_reading
from calib.faces.pages.frame.application import token_of
from calib.faces.pages.frame.form import Form
from calib.faces.pages.frame.routes import Document, Filled, Pages, Sent, address
from calib.faces.pages.frame.served import assets, version_of
from calib.faces.pages.frame.visit import MayNotError, Visit
from calib.faces.pages.outlet import moved_by, proof_of, typed_entry
from calib.faces.written import Content
from calib.procedures.enter.on_site import job_listed, last_used
from calib.procedures.enter.send_entry import MeanwhileError, Sending, send_entry
from calib.procedures.fleet.ready_for_job import ready_for_job
from calib.procedures.plan.limits_with_meter import limits_with_meter

pages = Pages()
MOST_METERS, MOST_FORMS = 6, 120  # of a job that are kept beside its cards
_FORM = 1  # of a reading as a browser keeps it
_LARGEST_FILE = 5_000_000  # [byte]


@dataclass(frozen=True)
class Unsent:
    """A reading as a browser kept it: the fields as they were typed, and what the person knew and said."""

    client_key: str
    person: str
    job: str
    outlet: str
    fields: Mapping[str, str]  # with `observed_at` by the device's clock
    known: Sequence[int]  # readings of the outlet that the page showed
    sure: bool
    keep: bool  # as a refusal, where the gate refuses it

    @classmethod
    def read(cls, document: Any) -> Self:
        """One from a document; raises BadInputError where it is none of this form."""
        kinds: dict[str, type] = dict.fromkeys(("client_key", "person", "job", "outlet"), str)
        kinds |= {"fields": dict, "known": list, "sure": bool, "keep": bool}
        if not isinstance(document, dict) or document.get("form") != _FORM:
            raise BadInputError(
                [Finding.typed(None, None, f"readings of form {_FORM}, as the page keeps them: load it anew")]
            )
        wrong = [name for name, kind in kinds.items() if not isinstance(document.get(name), kind)]
        if not wrong and not all(isinstance(cell, str) for cell in document["fields"].values()):
            wrong = ["fields"]
        if not wrong and not all(type(reading) is int for reading in document["known"]):
            wrong = ["known"]
        if wrong:
            raise BadInputError([Finding.typed(name, None, "it as the page keeps it") for name in wrong])
        return cls(**{name: document[name] for name in kinds})


# --- the worker ------------------------------------------------------------------------------------------------------------------


@pages.shows("/worker.js", open_to_all=True)
def worker(_visit: Visit) -> Sent:
    """The worker, with the assets of this version by their addresses."""
    return Sent(_worker(), "text/javascript")


@cache
def _worker() -> bytes:
    named = assets()
    addresses = [asset.address for asset in named.values()]
    begin = f"const VERSION = {json.dumps(version_of(named))}, ASSETS = {json.dumps(addresses)};\n"
    return begin.encode() + named["queue.js"].content + named["worker.js"].content


@pages.shows("/without-network", open_to_all=True)
def without_network(_visit: Visit) -> Filled:
    """What is shown in the place of a page that was not kept; the worker keeps this one."""
    told = [
        "There is no network, and this device has not kept this page. Nothing was sent, and nothing kept.",
        "Traverses, corrections, photographs and openings need the network; the forms of a job that was opened before do not.",
    ]
    return Filled("told.html", {"told": told, "status": 0}, title="Without network")


@pages.shows("/still-signed-in", open_to_all=True)
def still_signed_in(_visit: Visit) -> Filled:
    """What is shown where somebody signs out and the server is not reached; the worker keeps this one too."""
    told = [
        "There is no network. You are still signed in: sign out again when there is network, before another person takes the phone."
    ]
    return Filled("told.html", {"told": told, "status": 0}, title="Still signed in")


# --- what is kept of a job -------------------------------------------------------------------------------------------------------


@pages.shows("/jobs/{job:name}/kept")
def kept_of_job(visit: Visit, job: str) -> Document:
    """Addresses that the worker keeps of a job beside its cards: with each meter that may be used now, what is left first."""
    session = visit.reading()
    meters = ready_for_job(session, job, visit.person, visit.asked.get("instrument", ""), visit.at, MOST_METERS)
    tags, site = [each.instrument.tag for each in meters], job_listed(session, job)
    outlets = [*site.left, *(name for name in site.outlets if name in site.measured)]
    forms = [address("/jobs/{}/outlets/{}?instrument={}", job, outlet, tag) for outlet in outlets for tag in tags]
    beside = [address("/instruments/{}", tag) for tag in tags]
    beside += [address("/jobs/{}/limits?instrument={}", job, tag) for tag in tags]
    return Document({"addresses": [*beside, *forms[:MOST_FORMS]]})


@pages.shows("/jobs/{job:name}/limits")
def limits(visit: Visit, job: str) -> Document:
    """The indications of a meter that would pass at each outlet, to compare with what is typed: no statement on a reading."""
    tag = visit.asked.get("instrument", "")
    session = visit.reading()
    last = last_used(session, job, instrument=tag)  # by the method that the form begins with
    methods = [last["method"]] if last else []
    passing = limits_with_meter(session, job, tag, methods, visit.at)
    ends = {outlet: entered_reading.ends_inside(*each) for outlet, each in passing.of_outlets.items()}
    return Document({"unit": passing.unit, "outlets": ends})


# --- readings that were not sent -------------------------------------------------------------------------------------------------


@pages.shows("/unsent")
def unsent(_visit: Visit) -> Filled:
    """Readings that this browser keeps, and what became of them; files of such readings."""
    return Filled("unsent.html", {"became": []}, title="Not sent")


@pages.shows("/unsent/sender")
def sender(visit: Visit) -> Document:
    """Who would send now, with the token: a page that was kept has an old one."""
    return Document({"person": visit.person, "token": token_of(visit.secret)})


@pages.takes("/unsent/send", act="record")
def send(visit: Visit) -> Document:
    """Send one reading; what became of it."""
    entry, sent_at = Unsent.read(visit.form.document), visit.form.document.get("sent_at", "")
    return Document(_became(visit, entry, Sending(entry.client_key, str(sent_at), visit.agent)))


@pages.takes("/unsent/file", again=unsent, act="record", largest=_LARGEST_FILE)
def take_file(visit: Visit) -> Filled:
    """Send every reading of a file that a browser saved; one that was sent before is found again.

    When it was saved says nothing of the device's clock: times are taken as the device had them.
    """
    file = visit.form.file("file")
    entries = _entries_of(b"" if file is None else file.content)
    became = []
    for entry in entries:
        confirmed = replace(entry, sure=entry.sure or visit.form.is_sure)
        sending = Sending(entry.client_key, visit.at.isoformat(), "a file of readings that were not sent")
        became.append(_became(visit, confirmed, sending, asks_of_others=not visit.form.is_sure))
    shown = [{"outlet": entry.outlet, "job": entry.job, **each} for entry, each in zip(entries, became, strict=True)]
    return Filled("unsent.html", {"became": shown}, title="Not sent")


def _entries_of(content: bytes) -> list[Unsent]:
    try:
        document = json.loads(content)
        entries = document["entries"]
    except (ValueError, TypeError, KeyError, RecursionError):
        expected = "a file of readings that were not sent, as the page saves it"
        raise BadInputError([Finding.typed("file", None, expected)]) from None
    if not isinstance(entries, list) or not entries:
        raise BadInputError([Finding.typed("file", None, "a file with readings in it")])
    return [Unsent.read(entry) for entry in entries]


def _became(visit: Visit, entry: Unsent, sending: Sending, *, asks_of_others: bool = True) -> Content:
    """Send a reading, and say what became of it; raises MayNotError for one that another person typed."""
    if entry.person != visit.person:
        raise MayNotError(f"{entry.person} typed this reading, and sends it: {visit.person} is signed in")
    typed = replace(visit, form=Form(entry.fields), asked={})
    try:
        with visit.writing_last() as session:
            arrived = send_entry(
                session, typed_entry(typed, entry.job, entry.outlet), sending, visit.signature("page entry"), visit.at,
                sure=entry.sure, keep_refused=entry.keep, known=entry.known if asks_of_others else None,
            )  # fmt: skip
            moved = moved_by(session, visit, entry.job, entry.outlet, arrived) if entry.sure else []
    except MeanwhileError as error:
        with visit.reading_first() as session:
            said = [line for reading in error.readings for line in _proof_lines(session, visit, reading)]
        return {"outcome": "meanwhile", "said": [str(error), *said], "readings": list(error.readings)}
    except DoubtError as error:
        return {"outcome": "doubted", "said": [str(doubt) for doubt in error.findings]}
    except RefusedError as error:
        return {"outcome": "refused", "said": str(error).splitlines()}
    except RecordsError:  # they cannot be written now: the same is sent again later
        raise
    except CalibError as error:
        return {"outcome": "wrong", "said": str(error).splitlines()}
    written = arrived.written.record_id
    if arrived.written.refused:
        return {"outcome": "kept as refused", "said": [f"refused reading {written}", *arrived.reasons], "readings": []}
    with visit.reading_first() as session:
        said = _proof_lines(session, visit, written)
    return {"outcome": "accepted", "said": [*said, *arrived.remarks, *moved, *visit.remarks], "readings": [written]}


def _proof_lines(session: Session, visit: Visit, reading: int) -> list[str]:
    """What a reading proves, in words."""
    proof = proof_of(session, visit, reading)
    if "stands_no_more" in proof:
        return [f"reading {reading}: {proof['stands_no_more']}"]
    lines = [line.strip() for line in entered_reading.proven_text(proof).splitlines()]
    return [*lines, *filter(None, [proof["not_in_report"]])]
