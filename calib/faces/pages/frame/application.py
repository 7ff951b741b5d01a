"""The application: each request gets its visit, its handler in a thread, and its answer; what goes wrong is said in one line.

Decision (2026-11). A form that was wrong is shown by the handler of its own page again, findings beside their fields. Cost: that
page is asked anew. A page that waits for work is sent anew by a header (`Refresh`), and a link on it stops that.

Decision (2026-11). Starlette with handlers that are plain functions in threads, 20 of them with at most two connections each.
Options: FastAPI (three times the imports, for a description of an API that nobody asks for), coroutines down to the records (every
procedure written twice). Cost: what takes long holds a thread.
"""

import json
import logging
import secrets
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from functools import cache, partial
from hmac import compare_digest
from importlib import import_module
from typing import ParamSpec, TypeVar
from urllib.parse import quote, unquote

from anyio import fail_after
from anyio.to_thread import current_default_thread_limiter
from jinja2 import Environment
from python_multipart.multipart import parse_options_header
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.convertors import Convertor, register_url_convertor
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp

from calib.clock import clock
from calib.confirmation.authority import ACTS
from calib.errors import (
    BadInputError,
    CalibError,
    CurveError,
    DamagedError,
    DeniedError,
    Finding,
    GapError,
    MeasuringIntervalError,
    NotInRecordsError,
    RecordsError,
    RefusedError,
    UnitError,
    UnreachableError,
    UnsureError,
)
from calib.faces.pages.frame.door import LARGEST_SENT, Door, TooMuchSentError, counted_bytes, too_much
from calib.faces.pages.frame.form import Form, Upload
from calib.faces.pages.frame.routes import Document, Filled, Goto, Outcome, Page, Pages, Sent, address
from calib.faces.pages.frame.served import Asset, Served, assets, version_of
from calib.faces.pages.frame.typeset import typeset
from calib.faces.pages.frame.visit import MayNotError, NotSignedInError, Visit, roles_on_record
from calib.faces.template import environment
from calib.records import database
from calib.records.credentials import SESSION_LONGEST, digest_of

# The pages, in the order of the menu: each a file of the folder above.
PAGES = (
    "home", "job", "report_desk", "correlations", "issue", "revisions", "watched", "outlet", "opening", "traverse", "reading",
    "photographs", "fleet", "due", "labels", "reviews", "review", "instrument", "instrument_history", "certificate",
    "certificate_in", "events", "checks", "interval", "records", "company", "people", "one_time_link", "log", "assessor",
    "without_network", "sign_in", "passkeys", "account",
)  # fmt: skip

_MOST_FIELDS, _MOST_FILES = 1_000, 20
_LONGEST_SENDING = 300  # [s]: a photograph from a basement takes its time
_STATUS: Mapping[type[CalibError], int] = {
    NotSignedInError: 401,
    MayNotError: 403,
    NotInRecordsError: 404,
    GapError: 409,
    RefusedError: 409,
    BadInputError: 422,
    UnitError: 422,
    CurveError: 422,
    MeasuringIntervalError: 422,
    DamagedError: 500,
    DeniedError: 403,
    RecordsError: 503,
}
# Few, since more of them wait for each other's turn with the interpreter: on two slow processors 50 people at once waited 15 s at
# most by 4, and of 100 readings none was sent back; by 20 it was 31 s, and 12 were. Each may have two connections to the records.
_THREADS = 4
_Asked = ParamSpec("_Asked")
_Given = TypeVar("_Given")
_LOG = logging.getLogger("calib.pages")


class _Name(Convertor[str]):
    """A name between two slashes of an address, whatever signs it holds."""

    regex = "[^/]+"

    def convert(self, value: str) -> str:
        return unquote(value)

    def to_string(self, value: str) -> str:
        return quote(value, safe="")


register_url_convertor("name", _Name())


def application(served: Served, files: Sequence[str] = PAGES, more: Sequence[Pages] = ()) -> ASGIApp:
    """The whole application on records that are served."""
    declared = [page for name in files for page in import_module(f"calib.faces.pages.{name}").pages.declared]
    declared += [page for pages in more for page in pages.declared]
    frame = _Frame(served, declared, assets())
    routes = [Route(page.address, partial(frame.answered, page=page), methods=[page.method]) for page in declared]
    routes += [Route("/assets/{digest}/{name}", frame.asset, methods=["GET"])]
    inner = Starlette(routes=routes, exception_handlers={HTTPException: frame.not_served, TooMuchSentError: too_much})
    largest = {page.address: page.largest for page in declared if page.largest is not None}
    return Door(inner, served.authority, largest, by_https_alone=served.is_secure and served.host != "localhost")


@dataclass(frozen=True)
class _Frame:
    served: Served
    pages: Sequence[Page]
    assets: Mapping[str, Asset]

    async def answered(self, request: Request, page: Page) -> Response:
        """The answer to one request: nothing that is raised leaves this place."""
        is_json = request.headers.get("content-type", "").startswith("application/json")
        secret = request.cookies.get(self.served.cookie, "") or secrets.token_urlsafe(32)
        asked = f"?{request.url.query}" if request.url.query else ""
        client = request.client.host if request.client else ""
        visit = Visit(
            self.served, clock(), f"{request.url.path}{asked}", secret, asked=dict(request.query_params), client=client,
            agent=request.headers.get("user-agent") or "a browser",
            is_change=page.method == "POST",
            is_for_keeping="calib-keep" in request.headers,
            is_by_worker="calib-worker" in request.headers,
        )  # fmt: skip
        visit, refused = await _in_thread(self._let_in, visit, page, is_json)
        if refused is not None:  # before anything is read of what was sent
            return refused
        if visit.is_change:
            try:
                form = await self._form(request, page)
                # What is sent from a basement takes minutes, in which others write: an act is of when it has arrived.
                visit = replace(visit, form=form, at=clock())
                self._must_be_from_here(request, visit)
            except CalibError as error:
                return await _in_thread(self._refused, visit, error, is_json=is_json)
        return await _in_thread(self._made, visit, page, request.path_params, is_json)

    async def not_served(self, request: Request, error: Exception) -> Response:
        """An address that is none, or is asked in another way than it answers."""
        status = error.status_code if isinstance(error, HTTPException) else 500
        told = {404: "there is no such page", 405: "this address does not take that"}.get(
            status, "this was not understood"
        )

        def made(visit: Visit) -> Response:
            try:
                visit = self._with_person(visit)
            except CalibError:  # the records cannot be read: it is no page all the same
                visit = replace(visit, secret="")
            return self._page(visit, _plain_page(told, status))

        secret = request.cookies.get(self.served.cookie, "")
        return await _in_thread(made, Visit(self.served, clock(), request.url.path, secret))

    async def asset(self, request: Request) -> Response:
        """An asset, by the address that has its digest: kept for good by whoever has asked."""
        asset = self.assets.get(request.path_params["name"])
        if asset is None or asset.address != request.url.path:
            return PlainTextResponse("there is no such file\n", 404)
        return Response(
            asset.content, media_type=asset.kind, headers={"Cache-Control": "public, max-age=31536000, immutable"}
        )

    # --- what came ---------------------------------------------------------------------------------------------------------------

    async def _form(self, request: Request, page: Page) -> Form:
        """What was sent; raises a CalibError where it cannot be read, TooMuchSentError."""
        largest = page.largest or LARGEST_SENT
        if int(request.headers.get("content-length") or 0) > largest:
            raise TooMuchSentError
        limited = Request(request.scope, counted_bytes(largest, request.receive))
        kind, said = parse_options_header(request.headers.get("content-type", ""))
        charset = said.get(b"charset", b"utf-8").lower()
        if charset != b"utf-8":  # some that Python knows take hours for a form, or give no text
            raise _UnreadableError("what was sent is not in UTF-8")
        try:
            with fail_after(_LONGEST_SENDING):
                if kind == b"application/json":
                    return Form(document=json.loads(await limited.body()))
                if kind in (b"application/x-www-form-urlencoded", b"multipart/form-data"):
                    return await _form_of(limited)
        except TimeoutError:
            raise _UnreadableError("it took too long to send this") from None
        except (ValueError, RecursionError, HTTPException, ClientDisconnect) as error:  # the first two of JSON
            raise _UnreadableError("what was sent cannot be read") from error
        raise _UnreadableError("what was sent is no form")

    def _must_be_from_here(self, request: Request, visit: Visit) -> None:
        """Raises MayNotError for a change that another site's page sent, or that does not know the token of the session."""
        site, origin = request.headers.get("sec-fetch-site"), request.headers.get("origin")
        own = f"{'https' if self.served.is_secure else 'http'}://{request.headers['host']}"
        if site not in (None, "same-origin") or (origin is not None and origin.lower() != own.lower()):
            raise MayNotError("this was sent by a page of another site: nothing was done")
        token = request.headers.get("calib-token") or visit.form["token"]
        if not compare_digest(token.encode(), token_of(visit.secret).encode()):
            raise MayNotError("the page was too old: nothing was done; open it anew and send it again")

    # --- what is answered --------------------------------------------------------------------------------------------------------

    def _let_in(self, visit: Visit, page: Page, is_json: bool) -> tuple[Visit, Response | None]:
        """The visit of whoever asks, and the answer where they may not ask this."""
        try:
            visit = self._with_person(visit)
        except CalibError as error:  # the records cannot be read: the page is nobody's, and of nobody known
            return visit, self._refused(replace(visit, secret=""), error, is_json=is_json)
        try:
            _must_be_let_in(visit, page)
        except CalibError as error:
            return visit, self._refused(visit, error, is_json=is_json)
        return visit, None

    def _made(self, visit: Visit, page: Page, names: Mapping[str, str], is_json: bool) -> Response:
        """The answer of a handler."""
        try:
            return self._sent(visit, self._of_handler(visit, page, names))
        except CalibError as error:
            return self._refused(visit, error, page, names, is_json=is_json)
        except Exception:  # noqa: BLE001 (whatever it is, no visitor sees it)
            _LOG.exception("a page failed")
            before = "; look whether it was written before you send it again" if visit.is_change else ""
            told = f"this page failed{before}: whoever runs the program finds the reason in its log"
            return self._failed(visit, told, 500, is_json=is_json)

    def _with_person(self, visit: Visit) -> Visit:
        """The visit of whoever shows a session; of nobody where it ended, or the person did."""
        signed_in = self.served.credentials.signed_in(visit.secret, visit.at) if visit.secret else None
        if signed_in is None:
            return visit
        enrolled = signed_in.enrolled
        roles = roles_on_record(self.served, enrolled, visit.at)
        if not roles:
            self.served.credentials.end_sessions(enrolled.person)
            return visit
        engine = database.acting_as(self.served.engine, enrolled.login)
        return replace(visit, person=enrolled.person, roles=roles, engine=engine, since=signed_in.since)

    @staticmethod
    def _of_handler(visit: Visit, page: Page, names: Mapping[str, str]) -> Outcome:
        """What a handler answers, once what it wrote is durable."""
        with ExitStack() as opened:
            return page.handler(replace(visit, opened=opened), **names)

    def _sent(self, visit: Visit, answer: Outcome) -> Response:
        begun = answer.session if isinstance(answer, Goto | Document) else None
        secret = visit.secret if begun is None else begun
        lines = [*(answer.lines if isinstance(answer, Goto) else ()), *visit.remarks]
        if secret and lines:
            self.served.credentials.leave_said(secret, lines)
        if isinstance(answer, Filled):
            return self._page(visit, answer)
        if isinstance(answer, Sent):
            named = (
                {}
                if answer.name is None
                else {"Content-Disposition": f"attachment; filename*=UTF-8''{quote(answer.name)}"}
            )
            return Response(answer.content, media_type=answer.kind, headers=named | dict(answer.headers))
        response = (
            JSONResponse(answer.content, answer.status, self._of(visit))
            if isinstance(answer, Document)
            # which writes each sign as one that a header may hold
            else RedirectResponse(answer.address, 303, self._of(visit))
        )
        if visit.is_by_worker and isinstance(answer, Goto):
            response.status_code = 200  # a worker cannot look behind a redirection: it is told where it leads
        if begun is not None:
            self._set_cookie(response, secret, is_kept=True)
        return response

    def _of(self, visit: Visit) -> dict[str, str]:
        """Whose answer it is, if that is known, and of which version: a worker keeps it for them alone (assets/worker.js)."""
        of = {"Calib-Person": quote(visit.person)} if visit.secret else {}
        return of | {"Calib-Version": version_of(self.assets)}

    def _page(self, visit: Visit, shown: Filled) -> Response:
        said = self.served.credentials.take_said(visit.secret) if visit.person and not visit.is_for_keeping else []
        menu = [page for page in self.pages if page.menu is not None and visit.may(page.act)]
        text = _templates().get_template(shown.template).render(
            content=shown.content, title=shown.title, visit=visit, form=visit.form, menu=menu, said=said,
            token=token_of(visit.secret), address=address, addresses={page.address for page in self.pages},
            asset=lambda name: self.assets[name].address,
        )  # fmt: skip
        response = Response(text, shown.status, media_type="text/html", headers=self._of(visit) | dict(shown.headers))
        if visit.secret and not visit.person:
            self._set_cookie(response, visit.secret, is_kept=False)
        return response

    def _refused(
        self,
        visit: Visit,
        error: CalibError,
        page: Page | None = None,
        names: Mapping[str, str] | None = None,
        *,
        is_json: bool,
    ) -> Response:
        """A mistake or a refusal: on the form where it was typed, else by itself."""
        status, told = _status_of(error), _told_of(error)
        if told != str(error):
            _LOG.warning("%s", error)
        if status == 401 and not (is_json or visit.is_by_worker):
            to = "/" if visit.is_change else visit.address  # what takes a change shows nothing
            return Response(status_code=303, headers={"Location": address("/sign-in?to={}", to)})
        findings = error.findings if isinstance(error, BadInputError) else ()
        if page is not None and page.again is not None and not is_json:
            typed = visit.form.typed if visit.is_change else visit.asked
            form = replace(visit.form, typed=typed, findings=findings, refused="" if findings else told)
            try:
                shown = self._of_handler(replace(visit, form=form), replace(page, handler=page.again), names or {})
            except CalibError:  # the page itself cannot be shown: what was wrong at first is said
                return self._failed(visit, told, status, is_json=is_json)
            if isinstance(shown, Filled):
                return self._page(replace(visit, form=form), replace(shown, status=status))
        return self._failed(visit, told, status, is_json=is_json, findings=findings)

    def _failed(
        self, visit: Visit, told: str, status: int, *, is_json: bool, findings: Sequence[Finding] = ()
    ) -> Response:
        if is_json:
            cells = [{"column": each.column, "value": each.value, "expected": each.expected} for each in findings]
            return JSONResponse({"error": told, "findings": cells}, status)
        return self._page(visit, _plain_page(told, status))

    def _set_cookie(self, response: Response, secret: str, *, is_kept: bool) -> None:
        if not secret:
            response.delete_cookie(
                self.served.cookie, path="/", secure=self.served.is_secure, httponly=True, samesite="lax"
            )
            return
        response.set_cookie(
            self.served.cookie, secret, max_age=int(SESSION_LONGEST.total_seconds()) if is_kept else None,
            path="/", secure=self.served.is_secure, httponly=True, samesite="lax",
        )  # fmt: skip


@cache
def _templates() -> Environment:
    """The templates of the pages, which know how a text is typeset."""
    templates = environment("calib.faces.pages")
    templates.filters["typeset"] = typeset
    return templates


def _must_be_let_in(visit: Visit, page: Page) -> None:
    if not page.open_to_all and not visit.person:
        raise NotSignedInError("sign in first")
    if page.act is not None and not visit.may(page.act):
        raise MayNotError(f"{visit.person} may not do this: it is for {', '.join(ACTS[page.act].roles or ())}")


async def _in_thread(work: Callable[_Asked, _Given], *asked: _Asked.args, **named: _Asked.kwargs) -> _Given:
    """What blocks, in one of a few threads."""
    current_default_thread_limiter().total_tokens = _THREADS
    return await run_in_threadpool(work, *asked, **named)


async def _form_of(request: Request) -> Form:
    """Fields and files of a form."""
    async with request.form(max_files=_MOST_FILES, max_fields=_MOST_FIELDS, max_part_size=LARGEST_SENT) as sent:
        parts = sent.multi_items()
        typed = {name: part.replace("\r\n", "\n") for name, part in parts if isinstance(part, str)}
        if any("\0" in part for part in typed.values()):  # no text on record has it
            raise _UnreadableError("what was sent holds a sign that is none")
        files = {
            name: Upload(str(part.filename), await part.read())
            for name, part in parts
            if isinstance(part, UploadFile) and part.filename
        }
    return Form(typed, files)


class _UnreadableError(CalibError):
    """What was sent cannot be read."""


def _plain_page(told: str, status: int) -> Filled:
    return Filled(
        "told.html", {"told": told.splitlines(), "status": status}, title=told.partition("\n")[0], status=status
    )


def _status_of(error: CalibError) -> int:
    # Who may not is told so on a form likewise, and whatever else was wrong.
    if isinstance(error, BadInputError) and any(finding.column == "by" for finding in error.findings):
        return 403
    return next((status for kind, status in _STATUS.items() if isinstance(error, kind)), 400)


def _told_of(error: CalibError) -> str:
    """What a visitor is told: where a server has gone, what to do, and not which."""
    if isinstance(error, UnsureError):
        return (
            "the records went away while they confirmed this: all of it may be on record, or nothing; look in a minute"
        )
    if isinstance(error, UnreachableError):
        return "the records do not answer just now: nothing was written; try again in a minute"
    return str(error)


def token_of(secret: str) -> str:
    """What a form of a session has to send along: who knows it has read a page of this session."""
    return digest_of(f"form {secret}") if secret else ""
