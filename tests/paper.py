"""A report on paper as an opponent reads it: the numbers in the text of its PDF, and nothing else.

Rows of tables come as lines of text, a cell after the other; what a line leaves over goes on in the next. Nothing of `calib` is
used.
"""

import re
from dataclasses import dataclass, field

import pypdfium2

NUMBER = r"−?\d+(?:\.\d+)?(?: × 10[⁻⁰¹²³⁴⁵⁶⁷⁸⁹]+)?"
TYPED = r"\d+(?:\.\d+)?"
FLOW_UNIT = r"(?:m3/h|L/s|cfm|m3/s)"
_TABLE = (
    r"(?:(as-found|as-left)(, not used)? )?Reference \[.+?(?= (?:as-found|as-left)(?:, not used)? Reference| Curve )"
)
_RUNNING = re.compile(r"^(?:Job .* Revision \d+|Digest [0-9a-f]+ Page \d+ of \d+)$")
_SAME = (
    ("m³", "m3"),
    ("ft²", "ft2"),
    ("°C", "degC"),
    ("\ufffe", "-"),
    ("\N{NO-BREAK SPACE}", " "),
    ("\N{SOFT HYPHEN}", ""),
    ("\r", ""),
)


def number(text):
    """A number with the minus sign and the powers of ten that print has."""
    return float(text.translate(str.maketrans("−⁻⁰¹²³⁴⁵⁶⁷⁸⁹", "--0123456789")).replace(" × 10", "e"))


def lines_of(pdf):
    """The lines of every page, without what runs at their heads and feet."""
    text = ""
    with pypdfium2.PdfDocument(pdf) as document:
        for page in document:
            text += f"{page.get_textpage().get_text_range()}\n"
    for sign, plain in _SAME:
        text = text.replace(sign, plain)
    return [line.strip() for line in text.split("\n") if line.strip() and not _RUNNING.match(line.strip())]


def one_line(lines):
    """Lines as one."""
    return " ".join(" ".join(lines).split())


@dataclass(frozen=True)
class Section:
    """Part of the paper from one heading to another."""

    lines: list

    def between(self, begin, end):
        """What stands between the last line that is `begin` before the first one after it that is `end`."""
        start = self.lines.index(begin)
        return Section(self.lines[start + 1 : self.lines.index(end, start + 1)])

    @property
    def text(self):
        return one_line(self.lines)


@dataclass(frozen=True)
class Certificate:
    """A calibration as the appendix prints it: numbers as typed, in the instrument's unit."""

    tag: str
    certificate: str
    laboratory: str
    standards: str
    unit: str
    step: float
    repeatability: float
    percent: float  # of the limits of change
    absolute: float
    rows: list  # of the comparisons that were used: reference, indication, U, k, repeatability and observations or nothing
    degree: int
    degrees_of_freedom: float
    enlarged: float
    ratio: tuple = ()  # r and u(r) of a hood
    state: tuple = ()  # degC and kPa of a reference state
    coefficients: list = field(default_factory=list)  # value, u, correlations with those before


@dataclass(frozen=True)
class Reading:
    """A line of evidence."""

    number: str
    outlet: str
    observed: str
    taken: str
    values: list  # indications, each as typed
    throttled: list
    logged: bool
    unit: str
    flow: str  # with the digits that it is printed with
    flow_unit: str


@dataclass(frozen=True)
class Stated:
    """A row of a table of flows, each number as it is printed."""

    remarks: str
    service: str
    value: str
    expanded: str
    unit: str
    k: str
    system: str
    is_earlier: bool

    @property
    def is_in_totals(self):
        """Whether totals take it: the latest reading of an outlet."""
        return "(duct)" not in self.remarks and not self.is_earlier


class Paper:
    """What the paper of a job says."""

    def __init__(self, pdf):
        whole = Section(lines_of(pdf))
        self.whole = whole
        evidence = whole.between("What each flow was worked out from", "Traverses")
        self.methods = self._methods(evidence)
        self.airs = self._airs(whole.between("Conditions of the air", "Factors found on site").text)
        self.readings = self._readings(evidence.text)
        self.taken = self._taken(evidence)
        self.openings = self._openings(evidence)
        self.points = self._points(evidence)
        self.factors = self._factors(whole.between("Factors found on site", "Instruments used"))
        self.certificates = self._certificates(whole.text.partition(" Appendix B: calibrations ")[2])
        budgets = whole.between("Uncertainty budgets", "Cautions").text
        self.budgets = self._budgets(budgets, [reading.outlet for reading in self.readings])
        self.stated = self._stated(whole.between("Measured flows", "Balance").text, evidence.text)
        self.totals = self._totals(whole)
        self.budgets_of_totals = self._budgets(budgets, [_in_budgets(*total) for total in self.totals])

    @staticmethod
    def _methods(evidence):
        """Relative u [1] and degrees of freedom by the name of a method."""
        start = next(place for place, line in enumerate(evidence.lines) if line.endswith("ν Basis"))
        end = next(place for place, line in enumerate(evidence.lines) if line.startswith("Outlets and ducts"))
        rows = (re.fullmatch(rf"(.+?) (\d+\.\d+) (∞|{TYPED}) .+", line) for line in evidence.lines[start + 1 : end])
        return {row[1]: (float(row[2]) / 100, float(row[3].replace("∞", "inf"))) for row in rows if row}

    @staticmethod
    def _airs(text):
        """Quantities of each set of conditions: value, unit, and the instrument, or u."""
        density = rf"({TYPED}) kg/m3 {TYPED} kg/m3"
        row = rf"(\S.{{0,60}}?) {density} (temperature .+?\))(?= \S.{{0,60}}? {TYPED} kg/m3| Density of)"
        airs = {}
        for name, value, observed in re.findall(row, text.partition("Observed ")[2]):
            each = re.findall(rf"([a-z ]+?) ({NUMBER}) (\S+) \((.+?), u = ({TYPED})\)", observed)
            airs[name] = (value, {quantity.strip(): tuple(rest) for quantity, *rest in each})
        return airs

    @staticmethod
    def _readings(text):
        day = re.search(r"All readings were observed on (\S+); times are local", text)
        observed = r"\d\d:\d\d\S*" if day else r"\d{4}-\d\d-\d\d.{1,6}?\d\d:\d\d\S*"
        end = rf"(?= \d+ \S.{{0,80}}? {observed} [a-z]| Reading Points| Reading Outlet)"
        row = rf"(?<= )(\d+) (\S.{{0,80}}?) ({observed}) ([a-z]+) (\S.*?) ({TYPED}) ({FLOW_UNIT}){end}"
        readings = []
        for place, outlet, when, taken, typed, flow, unit in re.findall(row, text):
            values = rf"(?:{TYPED}; )*{TYPED}"
            throttled = re.match(rf"open ({values}) (\S+), throttled ({values}) \2", typed)
            plain = re.match(rf"(?:\d+ logged: )?({values}) (m/s|fpm|Pa|m3/h)", typed)
            own, own_unit = (throttled or plain).groups()[:2] if throttled or plain else ("", "")
            readings.append(
                Reading(
                    place, outlet, when, taken, own.split("; ") if own else [], throttled[3].split("; ") if throttled else [],
                    " logged: " in typed, own_unit, flow, unit,
                )
            )  # fmt: skip
        return readings

    def _taken(self, evidence):
        """Instrument, probe, method and air by the letter of what readings were taken with."""
        methods, airs = ("|".join(map(re.escape, names)) for names in (self.methods, self.airs))
        row = rf"([a-z]+) (\S+), certificate \S+(?: (\S+), certificate \S+)? ({methods})(?: ({airs}))?(?: .*)?"
        rows = (re.fullmatch(row, line) for line in evidence.lines)
        return {each[1]: each.groups()[1:] for each in rows if each}

    def _openings(self, evidence):
        """Shape, sides, unit, limit, factor, unit of it, u and source by outlet."""
        text = evidence.text.partition("Source of the factor ")[2].partition(" Reading Outlet Observed")[0]
        names = "|".join(sorted({re.escape(each.outlet) for each in self.readings}, key=len, reverse=True))
        start = rf"(?:{names})(?:; (?:{names}))*"
        text, _, self.rooms_said = re.sub(r" All readings were observed .*? from UTC\.", "", text).partition(" Rooms: ")
        row = (
            rf"({start})(?: (rectangular|round|flat-oval) (?:Ø )?({TYPED})(?: × ({TYPED}))? (\S+) ({TYPED}) \5)?"
            rf"(?: ({TYPED})( ft2)? ({TYPED})(?: ft2)? (.+?))?(?= {start} (?:rect|round|flat|\d)|$)"
        )
        openings = {}
        for outlets, *rest in re.findall(row, text):
            openings.update(dict.fromkeys(outlets.split("; "), rest))
        return openings

    @staticmethod
    def _points(evidence):
        """Passes of each point of the traverses, by the number of the reading."""
        text = evidence.text.partition("Points of the traverse")[2]
        row = rf"(?<= )(\d+) ({TYPED}(?:(?:; | \| | ‖ ){TYPED})+) (Pa|m/s)"
        return {
            reading: ([point.split("; ") for point in re.split(r" [|‖] ", points)], unit)
            for reading, points, unit in re.findall(row, text)
        }

    @staticmethod
    def _factors(section):
        """Pairs (traverse, face, indication, K) and percentages of each factor."""
        factors = {}
        name = None
        for line in section.lines:
            if re.fullmatch(r"\S+, revision \d+", line):
                name = line
                factors[name] = {"pairs": []}
            pair = re.fullmatch(rf"(\d+), .+? (\d+), .+? ({TYPED}) ({TYPED})", line)
            of_u = re.fullmatch(
                rf"(spread of the pairs|what their traverses share|combined) ({TYPED}) ({TYPED}).*", line
            )
            if pair:
                factors[name]["pairs"].append(pair.groups())
            elif of_u:
                factors[name][of_u[1]] = of_u[2]
        return factors

    @staticmethod
    def _certificates(text):
        starts = [match.start() for match in re.finditer(r"(\S+), certificate (\S+) \1: ", text)]
        each = (_certificate(text[start:end]) for start, end in zip(starts, [*starts[1:], None], strict=True))
        return {certificate.tag: certificate for certificate in each}

    @staticmethod
    def _budgets(text, names):
        """Contributions as printed, u and ν, of what has these names in the order of the rows."""
        budgets, place = [], 0
        for name in names:
            row = re.compile(rf"{re.escape(name)} ((?:{TYPED} )+)(> 9999|∞|{TYPED})(?= |$)")
            cells = row.search(text, place)
            place = cells.end()
            *parts, u = cells[1].split()
            budgets.append((parts, u, cells[2]))
        return budgets

    @property
    def rooms(self):
        """Outlets by room."""
        said = (room.partition(" with ") for room in self.rooms_said.rstrip(". ").split("; "))
        return {room: outlets.split(", ") for room, _, outlets in said}

    def _stated(self, text, evidence):
        """What is said of each reading beside its design, in their order; those that do not count stand with the evidence."""
        stated = []
        earlier = evidence.partition(" Reading Outlet Service Flow ± U")[2].partition(" Points of the traverse")[0]
        for reading in self.readings:
            named = rf"{re.escape(reading.outlet)}((?: \([^)]*\))*) (supply|return|exhaust)"
            row = rf"{named} ({TYPED}) ± ({TYPED}) ({FLOW_UNIT}) ({TYPED})"
            place = re.search(rf" {reading.number} {row}", earlier) or re.search(row, text)
            system = re.findall(r"System (\S+) Outlet Service", text[: place.start()])
            is_earlier = place.string is earlier
            stated.append(Stated(*place.groups(), "" if is_earlier else system[-1], is_earlier))
        return stated

    @staticmethod
    def _totals(whole):
        """Value, U, unit and k of each total by where it stands and what it is."""
        text = whole.between("Measured flows", "Decision rule").text
        row = rf" total(?: of \d+ of \d+, incomplete)? (supply|return|exhaust|net) ({NUMBER}) ± ({TYPED}) ({FLOW_UNIT}) ({TYPED})"
        totals = {}
        end = r"(?= System \S+ Outlet | All systems Service | Room Supply|$)"
        for where, of in re.findall(rf"(System \S+ Outlet|All systems) Service Flow ± U(.+?){end}", text):
            for service, *rest in re.findall(row, of):
                totals.setdefault((where.removeprefix("System ").removesuffix(" Outlet"), service), rest)
        rooms = text.partition(" Room Supply less extract")[2].partition("The sign of the net")[0]
        for room, *rest in re.findall(
            rf"(?:is so Measured|\d of \d) (.+?) ({NUMBER}) ± ({TYPED}) ({FLOW_UNIT}) ({TYPED}) a ", rooms
        ):
            totals["room", room] = rest
        return totals


def _in_budgets(where, what):
    """What a total is called among the budgets."""
    return f"room {what}" if where == "room" else f"{where.replace('All systems', 'all systems')}, {what}"


def _certificate(own):
    """One calibration from its part of the appendix."""
    tag, certificate = re.match(r"(\S+), certificate (\S+) ", own).groups()
    laboratory = re.search(r": ([^,;]+),", own)[1]
    standards = re.search(r"(?:reference standards (.+?))?\. Resolution", own)[1] or ""
    step, unit, repeatability = re.search(
        rf"Resolution ({TYPED}) (\S+); declared repeatability ({TYPED})", own
    ).groups()
    limits = re.search(rf"± \(?(?:({TYPED}) % of the indication)?(?: \+ )?(?:({TYPED}) [^ ,)]+?)?\)?[.,;]", own)
    made_from, dof, degree = re.search(
        rf"comparisons (as-\w+), ({TYPED}) degrees of freedom; degree (\d)", own
    ).groups()
    enlarged = re.search(rf"variance is enlarged by ({TYPED})", own)
    ratio = re.search(rf"r = ({TYPED}), u\(r\) = ({TYPED})", own)
    state = re.search(rf"reference state ({TYPED}) degC, ({TYPED}) kPa", own)
    coefficients = re.findall(
        rf"a[₀₁₂₃](?: \(of x[²³]?\))? (?:= ({NUMBER})|not in the curve), u = ({NUMBER})(?:, r = ({NUMBER}(?:, {NUMBER})*))?",
        own,
    )
    return Certificate(
        tag, certificate, laboratory, standards, unit, float(step), float(repeatability),
        float(limits[1] or 0), float(limits[2] or 0),
        _rows(own, made_from),
        int(degree), float(dof), float(enlarged[1]) if enlarged else 1.0,
        tuple(map(float, ratio.groups())) if ratio else (), tuple(map(float, state.groups())) if state else (),
        [[value or "0", u, *filter(None, r.split(", "))] for value, u, r in coefficients],
    )  # fmt: skip


def _rows(own, phase):
    """Comparisons of the phase that a curve was made from, without residuals; where there are more, captions name them."""
    (table,) = [each[0] for each in re.finditer(_TABLE, own) if not each[2] and each[1] in (None, phase)]
    columns = 7 if " s n" in table else 5
    numbers = re.findall(rf"(?<= ){NUMBER}(?= |$)", table.rpartition("]")[2])
    each = [numbers[at : at + columns] for at in range(0, len(numbers), columns)]
    return [(*row[:4], *(row[4:6] if columns == 7 else ("", ""))) for row in each]
