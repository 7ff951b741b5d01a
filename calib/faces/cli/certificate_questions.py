"""The questions of a certificate that is typed: what it states beside its comparisons, then these, a line each."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from calib.faces.cli.questions import Questions, cells_shown
from calib.faces.plain_text import table_text
from calib.procedures.typed.cells import unit_check
from calib.procedures.typed.declared.calibrations import (
    CALIBRATIONS_CSV,
    CERTIFICATE_STATES,
    COMPARISON_CELLS,
    COMPARISONS_CSV,
)
from calib.procedures.typed.sheets import Cells, TypedRow, typed_row

_AS_BEFORE = ("coverage_factor",)  # where it is left out
_OF_COMPARISONS = frozenset({"certificate", "phase", "unit", "indication_unit", *COMPARISON_CELLS})
_COLUMNS = COMPARISONS_CSV.by_name
_OPENING = (
    "an empty answer leaves a cell blank; Ctrl-C ends without writing. Numbers as the certificate prints them, "
    "days like 2026-03-05"
)
_AGAIN = "an empty answer takes the line that is offered, - drops it"
_LINES = (
    "comparisons, one a line: reference value, indication, U, k, and where they are stated repeatability and number of "
    "indications; k left out is that of the line before; an empty line ends"
)


class CertificateQuestions(Questions):
    """The questions on one certificate, and what was answered."""

    def __init__(
        self, names: tuple[str, str], instrument: Cells, given: Cells, read: Sequence[TypedRow] | None
    ) -> None:
        super().__init__()
        self._names = names
        self._instrument = instrument
        self._given = dict(given)
        self._read = read
        self._lines: list[dict[str, str]] = []
        self.cells: dict[str, str | None] = {**given, "tag": names[0], "certificate": names[1]}

    @property
    def comparisons(self) -> Sequence[TypedRow]:
        """The rows of the comparisons, read from a file or typed."""
        if self._read is not None:
            return self._read
        tag, certificate = self._names
        return [typed_row(None, {"tag": tag, "certificate": certificate, **line}) for line in self._lines]

    def ask(self, again: frozenset[str]) -> bool:
        """Ask for what was not typed as an option; of what was found wrong again. Whether anything was asked."""
        if not again:
            meter = self._instrument
            self.tell(f"{self._named()}: {meter['kind']}, {meter['maker']} {meter['model']}, serial {meter['serial']}")
            self.tell(_OPENING)
        stated = [name for name in CERTIFICATE_STATES if name in again or (not again and self._given[name] is None)]
        for name in stated:
            self.cells[name] = self.cell(CALIBRATIONS_CSV.by_name[name])
        compared = self._read is None and bool(not again or again & _OF_COMPARISONS)
        if compared:
            before, self._lines = self._lines, []
            self._ask_comparisons(before)
        return bool(stated) or compared

    def _ask_comparisons(self, typed: Sequence[Mapping[str, str]]) -> None:
        """All of them; those that were typed before are offered again."""
        meter = self._instrument
        shown = meter["indication_quantity"]
        unit = replace(_COLUMNS["unit"], check=unit_check(str(meter["quantity"])))
        phase: str | None = self.cell(_COLUMNS["phase"], typed[0]["phase"] if typed else None)
        symbol = self.cell(unit, None if shown else meter["unit"]) or ""
        common = {"unit": symbol}
        if shown is not None:
            of_indication = replace(_COLUMNS["indication_unit"], check=unit_check(shown), required=True)
            common["indication_unit"] = self.cell(of_indication, meter["unit"]) or ""
        while phase is not None:
            self.tell(_LINES if not typed else f"{_LINES}; {_AGAIN}")
            self._ask_lines({"phase": phase, **common}, [line for line in typed if line["phase"] == phase])
            more = replace(_COLUMNS["phase"], required=False, meaning="of more comparisons")
            phase = self.cell(more)

    def _ask_lines(self, common: Mapping[str, str], typed: Sequence[Mapping[str, str]]) -> None:
        offers = [" ".join(line[name] for name in COMPARISON_CELLS if name in line) for line in typed]
        before: dict[str, str] = {}
        place = 0
        while True:
            offered = offers[place] if place < len(offers) else None
            place += 1
            line = self.cells_on_line(
                f"{common['phase']} {place}", [_COLUMNS[name] for name in COMPARISON_CELLS], before, offered
            )
            if line == {}:
                continue  # one that was offered is dropped
            if line is not None:
                self._lines.append({**common, **line})
                before = {name: line[name] for name in _AS_BEFORE}
            elif before:
                return
            else:
                place = 0
                self.wrong([("reference", "", "at least one comparison")])

    def shown(self) -> str:
        """The whole, as it would be written."""
        stated = {name: self.cells[name] for name in (*CERTIFICATE_STATES, "accepted_on", "accepted_by")}
        header = ("phase", "reference", "indication", "U", "k", "repeatability", "n", "unit")
        rows = [[row.get(name) or "-" for name in ("phase", *COMPARISON_CELLS, "unit")] for row in self.comparisons]
        return "\n".join([cells_shown(self._named(), stated), table_text(header, rows, indent="  ")])

    def _named(self) -> str:
        return f"certificate {self._names[1]} of {self._names[0]}"
