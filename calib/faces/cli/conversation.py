"""The conversation of `calib enter` at a terminal, or with lines from a pipe: a line in, what it means, what is said.

What comes next and what an entry is stands in `calib.procedures.enter.sitting`, what the records are asked in `on_site`; here are
the words, the questions and the draft. A line that begins like a number is values; a few words are all else.

Decision (2026-11-29). An entry is written by its line, in a transaction of its own, after it was put into the draft; the draft
goes when it is written. A mistake in one line writes nothing of that line; at a terminal it is typed again, from a pipe the exit
status is 2 in the end. Options: all lines of a pipe in one transaction (a battery would lose an hour of them). Cost: a script that
ends with 2 has written its other lines, and says which it has not.
"""

import io
import re
import sys
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from shlex import quote

from calib.clock import clock
from calib.counted import count_of
from calib.errors import BadInputError, CalibError, DoubtError, Finding, NotInRecordsError, RefusedError
from calib.faces.answers import entered_reading, readiness
from calib.faces.answers.outlets import design_of_outlet
from calib.faces.cli.drafts import draft_place, draft_text, drop_draft, keep_draft
from calib.faces.cli.frame import Desk, login_name, spelled_here
from calib.faces.files import log_content
from calib.faces.plain_text import as_wide_as, fitted, harmless, table_text, terminal_columns
from calib.faces.written import Content
from calib.procedures.enter.import_sheets import Imported
from calib.procedures.enter.on_site import (
    InstrumentAsks,
    JobOnSite,
    against_setup,
    asks_of_setup,
    doubts_of_points,
    half_traversed,
    is_traversed,
    job_on_site,
    last_traversed,
    last_used,
    readings_meanwhile,
    setup_cell,
    stage_meant,
    write_entry,
    written_as,
)
from calib.procedures.enter.sitting import Sitting, TypedEntry, outlet_meant, taken_up
from calib.procedures.enter.withdraw_reading import withdraw_reading
from calib.procedures.fleet.ready import ready
from calib.procedures.measure.reading_in_job import reading_in_job
from calib.procedures.measure.verdict import verdict_on
from calib.procedures.on_record.outlets import outlet_cells
from calib.procedures.people.authorise import authorise
from calib.procedures.typed.values import cell_of, values_typed
from calib.records.location import Server, located

_CALLED = {"instrument": "meter", "probe": "probe", "conditions": "air", "unit": "unit", "method": "method"}
_COLUMNS = {called: column for column, called in _CALLED.items()}
_THROTTLED = "throttled"
_SHOWN = {"log_file": "log", "throttled_observations": _THROTTLED}
_BEGINS_LIKE_A_NUMBER = re.compile(r"[-+.,;]?\d|[-+][.,]\d")
_TRAVERSED_BY = {"rule": "log-Tchebycheff", "passes": "2"}  # where nothing was said yet

# Word -> the method that hears it.
WORDS = {
    **{word: word for word in ("to", "skip", "left", "undo", "note", "stage", "traverse", "log", "stop", "help")},
    "?": "help",
}
_HELP = (
    ("412 418 409", "a reading here: its passes; 2,41;2,38 as well, and one value alone is the mean as shown"),
    ("412 418 throttled 396 401", "with a hood: open, then with its throttle set"),
    ("log FILE", "a log of the meter here: a file of time,value"),
    ("to OUTLET", "another outlet or duct: its name, or a part of it"),
    ("skip", "leave this one for later"),
    ("left", "what is not measured yet"),
    ("undo WHY", "take back the point typed last, or the reading written last"),
    ("note TEXT", "a remark with the next reading"),
    ("stage before", "or after, or repeat, or nothing: what the next readings are"),
    ("meter TAG", "another meter; so are probe TAG, air CONDITIONS, unit UNIT and method METHOD"),
    ("traverse RULE 5 6 2", "another traverse of this duct: rule, lines, points on each, passes"),
    ("an empty line", "write again what was not written, once it was put right"),
    ("stop", "end; what is half-typed is kept, and offered at the next start"),
)


@dataclass
class Conversation:
    """A sitting at a job, spoken line by line."""

    desk: Desk
    sitting: Sitting
    sure: bool  # whether what is unusual is taken without asking
    entries: list[Content] = field(default_factory=list)
    not_written: list[Content] = field(default_factory=list)
    is_refused: bool = False
    line: int = 0

    def __post_init__(self) -> None:
        """Whether somebody is there to answer, and where what is half-typed stands."""
        if isinstance(sys.stdin, io.TextIOWrapper):
            sys.stdin.reconfigure(errors="replace")  # a byte that is no text is no reason to stop
        self.asks = sys.stdin.isatty()
        self.question: Callable[[str], None] | None = None  # that stands: what its answer does
        self.prompt_of_question = ""
        self.is_over = False
        self.is_tried = False  # whether the set-up was asked about beforehand
        self.marks: tuple[str, ...] = ()
        self.doubted: list[str] = []  # what was asked about the entry
        self.right: frozenset[str] = frozenset()  # what was asked about its points, and is right
        self.told: set[str] = set()  # what is against the set-up, as it was told last
        self.said: dict[str, str] = {}  # of the set-up, beforehand; waits for what was half-typed with another one
        self.gear: InstrumentAsks | None = None
        self.place: Path
        self.site: JobOnSite

    # --- saying and asking ------------------------------------------------------------------------------------------------------

    def tell(self, text: str | Callable[[], str]) -> None:
        """Say something to a person: on standard error where standard output is for a program."""
        stream = sys.stderr if self.desk.as_json else sys.stdout
        with as_wide_as(terminal_columns(stream)):
            said = text if isinstance(text, str) else text()
            print(fitted(harmless(spelled_here(said, self.desk.records))), file=stream, flush=True)

    def ask(self, prompt: str) -> str | None:
        """A line that was typed; None where there is none any more."""
        if self.asks:
            print(prompt, end="", flush=True, file=sys.stderr)
        line = sys.stdin.readline()
        self.line += 1
        if not line and self.asks:
            print(file=sys.stderr)
        return line.strip() if line else None

    def mistake(self, error: CalibError, typed: str) -> None:
        """Say what was wrong with a line, of which nothing was written."""
        if isinstance(error, BadInputError):
            error = BadInputError([_as_called_here(finding) for finding in error.findings])
        for said in str(error).split("\n"):
            self.tell(f"  {said}")
        if not self.asks:
            self.not_written.append({"line": self.line, "typed": typed, "said": str(error)})

    # --- the course of it -------------------------------------------------------------------------------------------------------

    def hold(self) -> None:
        """Hold it, from the first question to the last line; raises CalibError where it cannot begin."""
        try:
            self._begin()
            while not self.is_over:
                typed = self.ask(self._prompt())
                if typed is None:
                    break
                self._hear(typed)
        except KeyboardInterrupt:
            print(file=sys.stderr)
        if self.question is not None and not self.asks and self.sitting.entry is not None:
            self.not_written.append({"line": self.line, "typed": "", "said": "a question stood unanswered at the end"})

    def _begin(self) -> None:
        with self.desk.reading_first() as session:
            self.site = job_on_site(session, self.sitting.job, clock())
            last = last_used(session, self.sitting.job)
        title = f" {self.site.job.title}" if self.site.job.title else ""
        self.tell(f"{self.sitting.job}{title}: {self._count_left()}; ? tells what may be typed")
        self._who(last.get("operator"))
        self.place = draft_place(self.desk.records, self.sitting.job, self.desk.signature().person)
        draft = draft_text(self.place)
        if draft is not None:
            self._offer_draft(draft)
            return
        self._set_up(last)
        self._go_on()

    def _who(self, last: str | None) -> None:
        """Who measures: as it was said beforehand, by the login of a server, or as it is typed now."""
        while self.asks and self.desk.by is None and not isinstance(located(self.desk.records), Server):
            offered = last or login_name()
            typed = self.ask(f"who measures [{offered}]: ")
            if typed is None:
                raise BadInputError([Finding.typed("by", None, "a name: who measures")])
            name = typed or offered
            try:
                signature = replace(self.desk, by=name).signature()
                with self.desk.reading_first() as session:
                    authorise(session, signature, "record")
            except BadInputError as error:
                self.mistake(error, typed)
                last = None
                continue
            self.desk = replace(self.desk, by=name)
        with self.desk.reading_first() as session:
            authorise(session, self.desk.signature(), "record")

    # --- with what it is measured -----------------------------------------------------------------------------------------------

    def _set_up(self, last: Mapping[str, str]) -> None:
        """Ask once for all that is not said yet; what was used last in this job is offered. A pipe takes what is offered."""
        said, self.sitting = self.sitting.setup, replace(self.sitting, setup={})
        self._asked("instrument", said, {**last, **said})
        self._ask_for_another()
        if self.gear is None or self.is_over:
            return
        offered = {**self._offered(self.gear, last), **said}
        for column in self.gear.columns:
            if not self.is_over:
                self._asked(column, said, offered)
        for column in ("probe", "conditions"):  # that the meter does not ask for
            if column in said and column not in self.sitting.setup:
                self._set(column, said[column])

    def _as_said(self) -> None:
        """From now on what was said beforehand counts, and no longer what the draft was typed with."""
        said, self.said = self.said, {}
        typed_with = self.sitting.setup
        if said and not said.items() <= typed_with.items():
            self.sitting = replace(self.sitting, setup=said)
            self._set_up(typed_with)

    def _offered(self, gear: InstrumentAsks, last: Mapping[str, str]) -> dict[str, str]:
        """What was used last, and the unit that the meter shows where it is another one than last."""
        is_same = self.sitting.setup["instrument"] == last.get("instrument")
        return {"unit": gear.unit} | dict(last) | ({} if is_same else {"unit": gear.unit})

    def _ask_for_another(self) -> None:
        """Where the gate refuses the meter ask for another one: what this one shows would be no flow."""
        while self.asks and self.told and not self.is_over:
            other = self.ask(f"another meter (empty: go on with {self.sitting.setup['instrument']}): ")
            if not other or WORDS.get(other.casefold()) == "stop":
                self.is_over = other != ""
                return
            try:
                self._set("instrument", other)
            except CalibError as error:
                self.mistake(error, other)

    def _asked(self, column: str, said: Mapping[str, str], offered: Mapping[str, str]) -> None:
        """Ask for one thing of the set-up until the answer is on record."""
        offer = offered.get(column, "")
        typed: str | None = offer if column in said or not self.asks else None
        while True:
            if typed is None:
                typed = self.ask(f"{_CALLED[column]}{f' [{offer}]' if offer else ''}: ")
                if typed is None or WORDS.get(typed.casefold()) == "stop":
                    self.is_over = True
                    return
                typed = typed or offer
            if not typed and not self.asks:
                return
            try:
                self._set(column, typed, must=True)
            except CalibError as error:
                if not self.asks:
                    raise
                self.mistake(error, typed)
                typed, offer = None, "" if typed == offer else offer  # what was wrong is not offered again
            else:
                return

    def _set(self, column: str, typed: str, *, must: bool = False) -> None:
        """Take something else from now on; a meter and a probe are looked at by the gate first.

        Where something must be said, whoever types nothing is told what there is.
        """
        if typed or must or column in ("instrument", "unit", "method"):
            with self.desk.reading_first() as session:
                typed = setup_cell(session, self.sitting.job, column, typed, self.gear)
                now = clock()
                if column == "instrument":
                    asks = asks_of_setup(session, typed, now)
                    if self.gear is not None and self.sitting.setup.get("instrument") != typed:
                        self.sitting = self.sitting.with_setup("unit", asks.unit)
                    self.gear = asks
                    self.sitting = replace(self.sitting, needs=("instrument", *asks.columns))
                if column in ("instrument", "probe"):
                    answer = readiness.document(now, ready(session, [typed], now, now, None), None)
                    self.tell(readiness.text(answer))
                    self.told = {reason for each in answer["instruments"] for reason in each["reasons"]}
        self.sitting = self.sitting.with_setup(column, typed)
        self.is_tried = False

    # --- outlets ----------------------------------------------------------------------------------------------------------------

    def _count_left(self) -> str:
        return f"{len(self.site.left)} of {len(self.site.outlets)} outlets left"

    def _go_on(self) -> None:
        """Offer the next outlet that is not measured."""
        if not self.is_over:
            self._go_to(self.sitting.next_outlet(list(self.site.outlets), self.site.measured))

    def _stay(self) -> None:
        """Offer the same outlet again; where there is none, the next one."""
        if self.sitting.outlet in self.site.outlets:
            self._go_to(self.sitting.outlet)
        else:
            self._go_on()

    def _go_to(self, outlet: str | None) -> None:
        self._as_said()
        if self.is_over:
            return
        self.sitting = self.sitting.at_outlet(outlet)
        self._put_down()
        if outlet is None:
            self.tell("every outlet of the job is measured" if self.site.outlets else "the job has no outlet yet")
            return
        here = self.site.outlets[outlet]
        cells = outlet_cells(here)
        told = [f"{outlet}: {here.service}", *filter(None, [design_of_outlet(cells)])]
        again = "; measured already: what is typed now comes later" if outlet in self.site.measured else ""
        self.tell(f"{', '.join(told)} ({self._count_left()}){again}")
        if is_traversed(here):
            with self.desk.reading_first() as session:
                by = _TRAVERSED_BY | last_traversed(session, here)
            try:
                self._traverse_by(by)
            except CalibError as error:
                self.mistake(error, outlet)
            self.is_tried = False
        self._try()

    def _try(self) -> None:
        """Ask what is against the set-up here before anything is typed; of plain outlets once, until it changes."""
        if self.is_tried or self.sitting.outlet is None:
            return
        missing = self.sitting.missing()
        if missing:
            self.tell(f"  still to be said: {', '.join(_CALLED[column] for column in missing)}")
            return
        with self.desk.reading_first() as session:
            against = against_setup(session, self.sitting, self.desk.signature().person, clock())
        for reason in against:
            if reason not in self.told:
                self.tell(f"  as it stands: {reason}")
        self.told = {*against}
        self.is_tried = not against

    def _traverse_by(self, typed: Mapping[str, str]) -> None:
        if self.gear is not None and self.gear.way.not_traversed is not None:
            self.tell(f"  {self.gear.way.not_traversed}: take another meter for a duct")
            return
        with self.desk.reading_first() as session:
            half, self.marks = half_traversed(session, self.sitting.job, self.sitting.outlet or "", typed, clock())
        self.sitting = replace(self.sitting, traverse=half)
        passes = count_of(half.passes, "pass", "passes")
        counted = f"{count_of(half.lines, 'line', 'lines')} of {half.points} points, {passes}"
        self.tell(f"  traversed by {half.rule}: {counted}; values point by point, or several in a line")

    def _prompt(self) -> str:
        if self.question is not None:
            return self.prompt_of_question
        unit = self.sitting.setup.get("unit", "?")
        traverse, outlet = self.sitting.traverse, self.sitting.outlet
        if outlet is None:
            return "an outlet, or stop: "
        if traverse is None:
            return f"{outlet} [{unit}]: "
        if traverse.is_whole:
            return f"{outlet}, every point is typed (an empty line writes it): "
        run, place = traverse.wanted
        line, point = traverse.places[place]
        return f"pass {run + 1}, line {line}, point {point} ({self.marks[place]}) [{unit}]: "

    # --- a line -----------------------------------------------------------------------------------------------------------------

    def _hear(self, typed: str) -> None:
        """What a line means."""
        question, self.question = self.question, None
        try:
            if question is not None:
                question(typed)
            elif not typed:
                self._again()
            elif _BEGINS_LIKE_A_NUMBER.match(typed):
                self._values(typed)
            else:
                self._word(typed)
        except CalibError as error:
            self.mistake(error, typed)

    def _word(self, typed: str) -> None:
        word, _, rest = typed.partition(" ")
        word, rest = word.casefold(), rest.strip()
        if word in _COLUMNS:
            self._set(_COLUMNS[word], rest)
            self._put_down()
            self._try()
        elif word in WORDS:
            said: Callable[[str], None] = getattr(self, f"word_{WORDS[word]}")
            said(rest)
        else:
            expected = f"values, or one of {', '.join([*WORDS, *_COLUMNS])}"
            with suppress(BadInputError):  # where it is no name of an outlet either
                expected = f"values, or a word: to {outlet_meant(typed, list(self.site.outlets))}? (? tells the words)"
            raise BadInputError([Finding.typed(None, typed, expected)])

    def _again(self) -> None:
        """An empty line: write what stands there as a whole, after a mistake was put right."""
        self.sitting = self.sitting.as_whole()
        if self.sitting.entry is not None:
            self._submit(sure=self.sure, keep=not self.asks)

    def _values(self, typed: str) -> None:
        shown, throttle, throttled = typed.casefold().partition(_THROTTLED)
        values = values_typed(shown)
        if throttle:
            cells = cell_of(values) | {"throttled_observations": ";".join(values_typed(throttled))}
            self._taken(self.sitting.with_shown(cells, clock()))
            return
        before = 0 if self.sitting.traverse is None else len(self.sitting.traverse.values)
        sitting = self.sitting.with_values(values, clock())
        doubts = [] if sitting.traverse is None or self.gear is None else doubts_of_points(sitting, before, self.gear)
        said = [] if self.sure else [str(doubt) for doubt in doubts]
        if not said:
            self._taken(sitting)
            return
        for doubt in said:
            self.tell(f"  {doubt}")
        self._ask_whether("is that right? yes or no: ", lambda: self._taken(sitting, said))

    def _taken(self, sitting: Sitting, right: Sequence[str] = ()) -> None:
        """Take what was typed; an entry is written. `right` is what was asked about it and is right."""
        self.sitting, self.right = sitting, self.right | {*right}
        self._put_down()
        if self.sitting.entry is not None:
            self._submit(sure=self.sure, keep=not self.asks)

    def word_log(self, rest: str) -> None:
        """A log of the meter at this outlet, by the name of its file, which may stand in quotation marks."""
        if not rest:
            raise BadInputError([Finding.typed("log_file", None, "the name of a file of time,value")])
        named = str(Path(rest.strip("'\"")).expanduser())
        self._taken(self.sitting.with_shown({"log_file": named}, clock()))

    def word_to(self, rest: str) -> None:
        """Go to another outlet."""
        with self.desk.reading_first() as session:  # somebody may have added it
            self.site = job_on_site(session, self.sitting.job, clock())
        outlet = outlet_meant(rest, list(self.site.outlets))
        self._leaving(lambda: self._go_to(outlet))

    def word_skip(self, _rest: str) -> None:
        """Leave the outlet for later."""
        outlet = self.sitting.outlet
        if outlet is not None:
            self._leaving(lambda: self._skipped(outlet))

    def _skipped(self, outlet: str) -> None:
        self.sitting = replace(self.sitting, skipped=self.sitting.skipped | {outlet})
        self._go_on()

    def _leaving(self, then: Callable[[], None]) -> None:
        """Do something that leaves the points of a traverse behind: asked where some are typed."""
        traverse = self.sitting.traverse
        if traverse is None or not traverse.values:
            then()
            return
        count = count_of(len(traverse.values), "point", "points")
        self._ask_whether(f"{count} typed here would be lost: leave them? yes or no: ", then)

    def word_left(self, _rest: str) -> None:
        """List what is not measured yet."""
        with self.desk.reading_first() as session:
            self.site = job_on_site(session, self.sitting.job, clock())
        self.tell("\n".join([self._count_left(), *(f"  {name}" for name in self.site.left)]))

    def word_note(self, rest: str) -> None:
        """A remark with the next reading."""
        self.sitting = replace(self.sitting, remarks=rest or None)
        self._put_down()
        self.tell(f"  with the next reading: {rest}" if rest else "  no remark")

    def word_stage(self, rest: str) -> None:
        """What the next readings are."""
        self.sitting = replace(self.sitting, stage=stage_meant(rest))
        self.tell(f"  the next readings are {self.sitting.stage or 'of no stage that is said'}")

    def word_traverse(self, rest: str) -> None:
        """Another traverse of the duct."""
        if self.sitting.outlet is None or not is_traversed(self.site.outlets[self.sitting.outlet]):
            raise BadInputError([Finding.typed("traverse", rest, "a duct with a shape on record here")])
        named = dict(zip(("rule", "lines", "points", "passes"), rest.split(), strict=False))
        self._leaving(lambda: self._traverse_by(_TRAVERSED_BY | named))

    def word_help(self, _rest: str) -> None:
        """What may be typed."""
        self.tell(lambda: table_text(("typed", "means"), _HELP))

    def word_stop(self, _rest: str) -> None:
        """End."""
        self.is_over = True

    # --- what was typed, written ------------------------------------------------------------------------------------------------

    def _submit(self, *, sure: bool, keep: bool) -> None:
        """Write the entry, and say what it proves; a doubt and a refusal are asked about first."""
        entry = self.sitting.entry
        assert entry is not None  # noqa: S101 (asked by whoever calls)
        with_points = bool(entry.points)
        try:
            with self.desk.writing_last() as session:
                meanwhile = readings_meanwhile(session, self.site.outlets[entry.cells["outlet"]], self.site.measured)
                imported = write_entry(
                    session,
                    entry,
                    self.desk.signature(),
                    clock(),
                    sure=sure,
                    keep_refused=keep,
                    log=log_content(entry.cells.get("log_file")),
                )
        except DoubtError as error:
            self.doubted = [str(doubt) for doubt in error.findings]
            if self.right.issuperset(self.doubted):
                self._submit(sure=True, keep=keep)
                return
            for doubt in self.doubted:
                self.tell(f"  {doubt}")
            self._question("is that right? yes or no: ", lambda answer: self._sure_of(answer, keep=keep))
            return
        except RefusedError as error:
            for reason in str(error).split("\n"):
                self.tell(f"  refused: {reason}")
            self._question("keep it as a refusal? yes, or no: ", lambda answer: self._kept(answer, sure=sure))
            return
        except BadInputError:
            if not with_points:
                self.sitting = self.sitting.without_entry()
            self._put_down()
            raise
        self._written(entry, imported, meanwhile)

    def _written(self, entry: TypedEntry, imported: Imported, meanwhile: int | None) -> None:
        """Say what an entry proves that is written; the draft goes after that, so that nobody is left without the answer."""
        asked = {f"notice: {doubt}" for doubt in self.doubted}
        for remark in imported.remarks:
            # Nobody typed the time: of two readings within a second the later one has the next.
            if remark not in asked and not remark.startswith("notice: observed_at: "):
                self.tell(f"  {remark}")
        self.doubted = []
        if meanwhile is not None:
            self.tell(f"  reading {meanwhile} was recorded there meanwhile; this one counts, as the later one")
        self._answer(entry, [reason for each in imported.refusals for reason in each.reasons])
        self.sitting, self.right = self.sitting.after_entry(), frozenset()
        self._put_down()
        if imported.refusals:  # it may be measured with another meter
            self._stay()
        else:
            self._go_on()

    def _answer(self, entry: TypedEntry, reasons: Sequence[str]) -> None:
        """Say what an entry proves that is written."""
        outlet = entry.cells["outlet"]
        with self.desk.reading_first() as session:
            written = written_as(session, entry)
            assert written is not None  # noqa: S101 (it was written)
            if written.refused:
                answer = entered_reading.refused_reading(self.sitting.job, outlet, reasons)
                self.is_refused = True
                said = [] if self.asks else [f"  refused: {reason}" for reason in reasons]
                told = f"{outlet}: kept as refused reading {written.record_id}, no flow is reported"
                self.tell("\n".join([told, *said]))
            else:
                try:
                    verdict = verdict_on(reading_in_job(session, written.record_id, clock()))
                except RefusedError as error:  # it was taken back since, or stands no more
                    self.tell(f"{outlet}: {error}")
                    return
                answer = entered_reading.document(verdict, self.desk.units)
                left = {each.outlet for each in verdict.left}
                self.site = replace(self.site, measured=frozenset(self.site.outlets) - left)
                self.tell(entered_reading.proven_text(answer))
        self.entries.append({"line": self.line, **answer})

    def _ask_whether(self, prompt: str, then: Callable[[], None]) -> None:
        """Do something after a yes; no or an empty line leaves it, and anything else is heard as what it is."""

        def answered(answer: str) -> None:
            if _is_yes(answer):
                then()
            elif answer and not _is_no(answer):
                self._hear(answer)

        self._question(prompt, answered)

    def _question(self, prompt: str, answered: Callable[[str], None]) -> None:
        self.question, self.prompt_of_question = answered, prompt

    def _sure_of(self, answer: str, *, keep: bool) -> None:
        if _is_yes(answer):
            self._submit(sure=True, keep=keep)
        else:
            self._not_written(answer)

    def _kept(self, answer: str, *, sure: bool) -> None:
        if _is_yes(answer):
            self._submit(sure=sure, keep=True)
        else:
            self._not_written(answer)

    def _not_written(self, answer: str) -> None:
        """The entry is dropped; a line that was no answer is heard as what it is."""
        values = self.sitting.entry
        self.sitting = replace(self.sitting.without_entry(), traverse=None)
        self._put_down()
        self.tell("  not written")
        if not self.asks and values is not None:
            self.not_written.append({"line": self.line, "typed": values.shown, "said": "it was said not to be right"})
        if answer and not _is_no(answer):
            self._hear(answer)
        elif self.sitting.outlet is not None and is_traversed(self.site.outlets[self.sitting.outlet]):
            self._go_to(self.sitting.outlet)

    # --- taken back -------------------------------------------------------------------------------------------------------------

    def word_undo(self, rest: str) -> None:
        """Take back the point typed last, or else withdraw the reading written last in this sitting."""
        without = self.sitting.without_last_point()
        if without is not None:
            self.sitting = without
            self._put_down()
            return
        last = next((each for each in reversed(self.entries) if not each.get("withdrawn")), None)
        if last is None:
            raise NotInRecordsError(
                "nothing was entered in this sitting that stands: an earlier reading is taken back with "
                f"`calib reading withdraw {quote(self.sitting.job)} NUMBER --reason TEXT`, by its number in "
                f"`calib reading list {quote(self.sitting.job)}`"
            )
        if last["refused"]:
            said = "a reading: a refusal is dismissed by QA or an engineer, with `calib refusal dismiss`"
            raise BadInputError([Finding.typed(None, "undo", said)])
        if rest:
            self._withdrawn(last, rest)
        else:
            self._question(
                f"why is reading {last['reading']} taken back (empty: it stays): ",
                lambda answer: self._why(last, answer),
            )

    def _why(self, last: Content, answer: str) -> None:
        """Take a reading back for the reason that was typed; none is an empty line, nor the word that ends."""
        if WORDS.get(answer.casefold()) == "stop":
            self.word_stop("")
        elif answer:
            self._withdrawn(last, answer)

    def _withdrawn(self, last: Content, reason: str) -> None:
        with self.desk.writing_last() as session:
            withdraw_reading(session, self.sitting.job, last["reading"], reason, self.desk.signature())
        last["withdrawn"] = reason
        with self.desk.reading_first() as session:
            self.site = job_on_site(session, self.sitting.job, clock())
        self.tell(
            f"reading {last['reading']} at {last['outlet']} is withdrawn: it is kept and shown, and yields no flow"
        )
        self._go_to(last["outlet"])

    # --- the draft --------------------------------------------------------------------------------------------------------------

    def _put_down(self) -> None:
        """Keep what is half-typed, or take the draft away where nothing is."""
        if self.sitting.is_half_typed:
            keep_draft(self.place, self.sitting.put_down(self.desk.signature().person))
        else:
            drop_draft(self.place)

    def _offer_draft(self, draft: str) -> None:
        """Offer what was half-typed when the sitting before ended."""
        try:
            before = taken_up(draft)
        except ValueError as error:
            said = f"{self.place}: what was half-typed cannot be read ({error}): move the file away"
            raise NotInRecordsError(said) from error
        stands, setup = self.sitting, before.setup
        self.said = dict(stands.setup)
        for column in ("instrument", *(each for each in setup if each != "instrument")):
            if column in setup:
                self._set(column, setup[column])
        self.sitting = replace(before, setup=self.sitting.setup, stage=stands.stage or before.stage)
        if self.sitting.outlet not in self.site.outlets:
            self.sitting = replace(self.sitting, outlet=None)
        entry = self.sitting.entry
        if entry is not None:
            with self.desk.reading_first() as session:
                written = written_as(session, entry)
            if written is not None:
                self.tell(f"what was typed last at {entry.cells['outlet']} was written before it was cut off:")
                self._answer(entry, ())  # of a refusal the list of readings has the reasons
                self.sitting = self.sitting.after_entry()
                self._put_down()
                self._go_on()
                return
            values = entry.shown or "a traverse"
            told = f"{values.replace(';', ' ')} {entry.cells['unit']} with {entry.cells['instrument']}"
            self.tell(f"typed at {entry.cells['observed_at']}, not written: {entry.cells['outlet']}, {told}")
            self._question("write it now? yes or no: ", self._taken_up)
        elif self.sitting.traverse is not None and self.sitting.traverse.values:
            count = len(self.sitting.traverse.values)
            of = self.sitting.traverse.passes * len(self.sitting.traverse.places)
            self.tell(f"{self.sitting.outlet}: {count} of {of} points of a traverse are typed")
            self._question("go on with them? yes or no: ", self._taken_up)
        else:
            self.tell(f"a remark for the next reading: {self.sitting.remarks}")
            self._stay()

    def _taken_up(self, answer: str) -> None:
        if not (_is_yes(answer) or _is_no(answer)):
            self._question(self.prompt_of_question, self._taken_up)
            if not answer or WORDS.get(answer.casefold()) == "stop":  # it stays, to be offered again
                self.word_stop("")
                return
            raise BadInputError([Finding.typed(None, answer, "yes or no, to what was half-typed, or stop")])
        if not _is_yes(answer):
            self.sitting = replace(self.sitting, entry=None, traverse=None, remarks=None)
            self._stay()
        elif self.sitting.entry is not None:
            self._submit(sure=self.sure, keep=not self.asks)
        else:
            self._marks_again()

    def _marks_again(self) -> None:
        traverse = self.sitting.traverse
        assert traverse is not None  # noqa: S101 (asked by whoever calls)
        typed = {"rule": traverse.rule, "lines": str(traverse.lines), "points": str(traverse.points)}
        with self.desk.reading_first() as session:
            _, self.marks = half_traversed(session, self.sitting.job, self.sitting.outlet or "", typed, clock())


def _as_called_here(finding: Finding) -> Finding:
    """A finding with the word for its column."""
    return replace(finding, column=(_CALLED | _SHOWN).get(finding.column or "", finding.column))


def _is_yes(answer: str) -> bool:
    return answer.casefold() in ("yes", "y")


def _is_no(answer: str) -> bool:
    return answer.casefold() in ("no", "n")
