"""Measurement functions of the kinds of measurement, as formulas in the notation of the GUM.

What a way of measuring is said with (`calib.measurement.notation`) is written here three ways at once: for the typesetter, as
MathML, and in one line of text.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from calib.faces.report.blocks import Formula
from calib.measurement.notation import (
    Bracket,
    Digits,
    FunctionOf,
    Joined,
    Letter,
    Power,
    Quotient,
    Root,
    SumOver,
    Term,
    equation,
    mean,
    minus,
    plus,
    times,
)
from calib.measurement.ways import BY_NAME
from calib.procedures.measure import budgets_in_full as full

# Between terms: for the typesetter, as MathML, in a line of text.
_SIGNS = {
    "+": (" + ", "<mo>+</mo>", " + "),
    "−": (" - ", "<mo>−</mo>", " − "),
    "=": (" = ", "<mo>=</mo>", " = "),
    "·": (" dot ", "<mo>·</mo>", " · "),
    ",": (" , ", "<mo>,</mo>", ", "),
    " ": ("  ", "", " · "),  # a product, which only a line of text has to say
    "": (" ", "", ""),
}
_GREEK = {"δ": "delta", "ρ": "rho", "π": "pi"}
_RAISED = {"2": "²"}
_COMPOSED = {"x": "x̄", "v": "v̄", "q": "q̄"}


@dataclass(frozen=True)
class _Piece:
    """A term, written."""

    typst: str
    mathml: str
    plain: str

    @property
    def formula(self) -> Formula:
        """The piece as a block."""
        return Formula(self.typst, f"<mrow>{self.mathml}</mrow>", self.plain)

    @property
    def tight(self) -> str:
        """In a line of text, as a part of a quotient."""
        return f"({self.plain})" if " " in self.plain else self.plain


def _written(term: Term) -> _Piece:  # noqa: PLR0911 (one for each term)
    match term:
        case Letter():
            return _letter(term)
        case Digits(digits):
            return _Piece(digits, f"<mn>{digits}</mn>", digits)
        case Joined(sign, terms):
            typst, mathml, plain = _SIGNS[sign]
            pieces = [_written(each) for each in terms]
            return _Piece(
                typst.join(piece.typst for piece in pieces),
                mathml.join(piece.mathml for piece in pieces),
                plain.join(piece.plain for piece in pieces),
            )
        case Bracket(inner, is_square):
            piece, (opening, closing) = _written(inner), "[]" if is_square else "()"
            return _Piece(f"({piece.typst})", f"<mo>(</mo>{piece.mathml}<mo>)</mo>", f"{opening}{piece.plain}{closing}")
        case FunctionOf(function, argument):
            name, piece = _letter(function), _written(Bracket(argument))
            return _Piece(f"{name.typst} {piece.typst}", name.mathml + piece.mathml, name.plain + piece.plain)
        case Quotient(above, below):
            up, down = _written(above), _written(below)
            fraction = f"<mfrac><mrow>{up.mathml}</mrow><mrow>{down.mathml}</mrow></mfrac>"
            return _Piece(f"frac({up.typst}, {down.typst})", fraction, f"{up.tight} / {down.tight}")
        case Root(inner):
            piece = _written(inner)
            return _Piece(f"sqrt({piece.typst})", f"<msqrt><mrow>{piece.mathml}</mrow></msqrt>", f"√({piece.plain})")
        case Power(base, exponent):
            piece, typed = _written(base), exponent.replace("−", "-")
            return _Piece(
                f"{piece.typst}^({typed})",
                f"<msup><mrow>{piece.mathml}</mrow><mn>{exponent}</mn></msup>",
                piece.plain + _RAISED.get(exponent, f"^({exponent})"),
            )
        case SumOver(index, each):
            piece = _written(each)
            total = f"<munder><mo>∑</mo><mi>{index}</mi></munder>{piece.mathml}"
            return _Piece(f"sum_{index} {piece.typst}", total, f"∑_{index} {piece.plain}")


def _letter(letter: Letter) -> _Piece:
    """A letter with an index: letters of it are set upright where it is a word."""
    sign = letter.sign
    typst, mathml, plain = _GREEK.get(sign, sign), f"<mi>{sign}</mi>", sign
    if letter.is_mean:
        bar = "\N{COMBINING MACRON}"
        typst, mathml = f"overline({typst})", f"<mover>{mathml}<mo>¯</mo></mover>"
        plain = _COMPOSED.get(sign, sign + bar)
    if not letter.index:
        return _Piece(typst, mathml, plain)
    tag, below = ("mtext", f'"{letter.index}"') if letter.is_word else ("mi", f"({' '.join(letter.index)})")
    return _Piece(f"{typst}_{below}", f"<msub>{mathml}<{tag}>{letter.index}</{tag}></msub>", f"{plain}_{letter.index}")


# --- the functions ---------------------------------------------------------------------------------------------------------------

_PI = Letter("π")
_K, _M, _W, _H, _D, _C, _F = (Letter(sign) for sign in "KMwhdcf")


def _delta(what: str) -> Term:
    return Letter("δ", what, is_word=True)


def _mean_over(index: str, count: str, term: Term) -> Term:
    return Joined(" ", (Quotient(Digits("1"), Letter(count)), SumOver(index, term)))


def measurement_function(kind: Mapping[str, Any]) -> list[Formula]:
    """The function of a kind: first the flow, then what stands in it."""
    return [_written(term).formula for term in (_flow(kind), *_within(kind))]


def _mean(kind: Mapping[str, Any]) -> Letter:
    return mean("q" if BY_NAME[kind["measured"]].is_flow else "v")


def _flow(kind: Mapping[str, Any]) -> Term:
    """q_V = M · K · A · (mean + errors)."""
    decided = (_delta("dec"),) if kind["is_widened"] else ()
    if kind["is_direct"]:
        x, rounding = mean("x"), _delta("res")
        value = plus(x, rounding, FunctionOf(_C, plus(x, rounding)), _delta("ref"), _delta("stab"), *decided)
    else:
        errors = ("res", "cal", "ref", "stab", *(("P",) if kind["has_probe"] else ()))
        value = plus(_mean(kind), *(_delta(error) for error in errors), *decided)
    factor = [_K] if kind["opening"] in (full.FACTOR, full.FOUND_FACTOR) else []
    method = [Letter("M", part, is_word=True) for part in ("com", "own")] if kind["has_two_figures"] else [_M]
    drift = [Letter("P")] if kind["has_drift"] else []
    return equation(Letter("q", "V"), times(*drift, *method, *factor, *_area(kind), Bracket(value)))


def _area(kind: Mapping[str, Any]) -> list[Term]:
    if kind["opening"] in (full.EFFECTIVE_AREA, full.FOUND_AREA):
        return [Letter("A", "e")]
    match kind["shape"]:
        case "rectangular":
            return [_W, _H]
        case "round":
            return [_disc(_D)]
        case "flat-oval":
            return [Bracket(plus(times(_H, Bracket(minus(_W, _H))), _disc(_H)))]
    return []


def _disc(diameter: Term) -> Term:
    return Quotient(Joined("", (_PI, Power(diameter, "2"))), Digits("4"))


def _within(kind: Mapping[str, Any]) -> list[Term]:
    """What the mean is made of, where the flow is not written with the mean indication itself."""
    if kind["is_direct"]:
        return []
    way = BY_NAME[kind["measured"]]

    def corrected(x: Term) -> Term:
        """What the instrument's curve makes of an indication."""
        return plus(x, FunctionOf(_C, x)) if kind["is_polynomial"] else FunctionOf(_F, x)

    if way.of_two is not None:
        return list(way.of_two.formula(corrected))
    if not kind["is_traverse"] and not way.each_by_itself:
        value, *more = way.formula(corrected, mean("x"))
        return _through_the_probe(kind, _mean(kind), "k", value, more)
    index = "jk" if kind["is_traverse"] else "k"
    single = Letter(_mean(kind).sign, index)
    of_pass = _mean_over("k", "m", single)
    whole = Joined(" ", (SumOver("j", Letter("w", "j")), of_pass)) if kind["is_traverse"] else of_pass
    value, *more = way.formula(corrected, Letter("x", index))
    return [equation(_mean(kind), whole), *_through_the_probe(kind, single, index, value, more)]


def _through_the_probe(kind: Mapping[str, Any], single: Term, index: str, value: Term, more: list[Term]) -> list[Term]:
    if not kind["has_probe"]:
        return [equation(single, value), *more]
    bare = Letter("V", index)
    through = plus(bare, FunctionOf(_C.at("P"), bare))
    return [equation(single, through), equation(bare, value), *more]
