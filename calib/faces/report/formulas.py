"""Measurement functions of the kinds of measurement, as formulas in the notation of the GUM.

Each piece is written three ways at once: for the typesetter, as MathML, and in one line of text.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import reduce
from typing import Any

from calib.faces.report.blocks import Formula
from calib.procedures.measure import budgets_in_full as full


@dataclass(frozen=True)
class _Piece:
    """Part of a formula."""

    typst: str
    mathml: str
    plain: str

    def __add__(self, other: "_Piece") -> "_Piece":
        return _Piece(f"{self.typst} {other.typst}", self.mathml + other.mathml, self.plain + other.plain)

    @property
    def formula(self) -> Formula:
        """The piece as a block."""
        return Formula(self.typst, f"<mrow>{self.mathml}</mrow>", self.plain)


def _letter(typst: str, sign: str) -> _Piece:
    return _Piece(typst, f"<mi>{sign}</mi>", sign)


def _mean(letter: str) -> _Piece:
    bar = "\N{COMBINING MACRON}"
    return _Piece(
        f"overline({letter})", f"<mover><mi>{letter}</mi><mo>¯</mo></mover>", _COMPOSED.get(letter, letter + bar)
    )


_COMPOSED = {"x": "x̄", "v": "v̄", "q": "q̄"}


def _with(one: _Piece, below: str, *, is_word: bool = False) -> _Piece:
    """A letter with an index: letters of it are set upright where it is a word."""
    spaced = " ".join(below)
    typst = f'{one.typst}_"{below}"' if is_word else f"{one.typst}_({spaced})"
    tag = "mtext" if is_word else "mi"
    return _Piece(typst, f"<msub>{one.mathml}<{tag}>{below}</{tag}></msub>", f"{one.plain}_{below}")


def _sign(sign: str, typst: str | None = None, plain: str | None = None) -> _Piece:
    return _Piece(typst or sign, f"<mo>{sign}</mo>", plain or f" {sign} ")


def _number(number: str) -> _Piece:
    return _Piece(number, f"<mn>{number}</mn>", number)


_PLUS, _MINUS, _EQUALS, _TIMES = _sign("+"), _sign("−", "-"), _sign("="), _sign("·", "dot")
_COMMA = _sign(",", plain=", ")
_BESIDE = _Piece("", "", " · ")  # factors side by side: a product, which only a line of text has to say


def _sum(*terms: _Piece) -> _Piece:
    return reduce(lambda one, other: one + _PLUS + other, terms)


def _product(*terms: _Piece) -> _Piece:
    return reduce(lambda one, other: one + _TIMES + other, terms)


def _in(one: _Piece) -> _Piece:
    return _Piece(f"({one.typst})", f"<mo>(</mo>{one.mathml}<mo>)</mo>", f"({one.plain})")


def _of(name: _Piece, argument: _Piece) -> _Piece:
    return name + _in(argument)


def _over(above: _Piece, below: _Piece) -> _Piece:
    fraction = f"<mfrac><mrow>{above.mathml}</mrow><mrow>{below.mathml}</mrow></mfrac>"
    return _Piece(f"frac({above.typst}, {below.typst})", fraction, f"{_tight(above)} / {_tight(below)}")


def _tight(one: _Piece) -> str:
    return f"({one.plain})" if " " in one.plain else one.plain


def _root(one: _Piece) -> _Piece:
    return _Piece(f"sqrt({one.typst})", f"<msqrt><mrow>{one.mathml}</mrow></msqrt>", f"√({one.plain})")


def _power(one: _Piece, exponent: str, typst: str | None = None) -> _Piece:
    raised = {"2": "²"}.get(exponent, f"^({exponent})")
    base = f"<mrow>{one.mathml}</mrow>"
    return _Piece(
        f"{one.typst}^({typst or exponent})", f"<msup>{base}<mn>{exponent}</mn></msup>", f"{one.plain}{raised}"
    )


def _summed(index: str, one: _Piece) -> _Piece:
    return _Piece(
        f"sum_{index} {one.typst}", f"<munder><mo>∑</mo><mi>{index}</mi></munder>{one.mathml}", f"∑_{index} {one.plain}"
    )


def _mean_of(index: str, count: str, one: _Piece) -> _Piece:
    return _over(_number("1"), _letter(count, count)) + _BESIDE + _summed(index, one)


_DELTA, _RHO, _PI = _letter("delta", "δ"), _letter("rho", "ρ"), _letter("pi", "π")
_K, _M, _R, _W, _H, _D, _C, _F = (_letter(one, one) for one in "KMrwhdcf")
_RHO_0, _A_E, _Q_V = _with(_RHO, "0"), _with(_letter("A", "A"), "e"), _with(_letter("q", "q"), "V")


def _delta(what: str) -> _Piece:
    return _with(_DELTA, what, is_word=True)


def measurement_function(kind: Mapping[str, Any]) -> list[Formula]:
    """The function of a kind: first the flow, then what stands in it."""
    return [one.formula for one in (_flow(kind), *_within(kind))]


def _flow(kind: Mapping[str, Any]) -> _Piece:
    """q_V = M · K · A · (mean + errors)."""
    if kind["is_direct"]:
        errors: tuple[_Piece, ...] = (
            _delta("res"),
            _of(_C, _mean("x") + _PLUS + _delta("res")),
            _delta("ref"),
            _delta("stab"),
        )
        value = _sum(_mean("x"), *errors)
    else:
        mean = _mean("q") if kind["measured"] in (full.HOOD, full.HOOD_PAIR) else _mean("v")
        errors = tuple(_delta(one) for one in ("res", "cal", "ref", "stab", *(("P",) if kind["has_probe"] else ())))
        value = _sum(mean, *errors)
    factors = [_M, *([_K] if kind["opening"] in (full.FACTOR, full.FOUND_FACTOR) else []), *_area(kind), _in(value)]
    return _Q_V + _EQUALS + _product(*factors)


def _area(kind: Mapping[str, Any]) -> list[_Piece]:
    if kind["opening"] in (full.EFFECTIVE_AREA, full.FOUND_AREA):
        return [_A_E]
    disc = {"round": _D, "flat-oval": _H}.get(str(kind["shape"]))
    quarter = None if disc is None else _over(_PI + _power(disc, "2"), _number("4"))
    if kind["shape"] == "rectangular":
        return [_W, _H]
    if kind["shape"] == "round" and quarter is not None:
        return [quarter]
    if quarter is not None:
        return [_in(_product(_H, _in(_W + _MINUS + _H)) + _PLUS + quarter)]
    return []


def _within(kind: Mapping[str, Any]) -> list[_Piece]:
    """What the mean is made of, where the flow is not written with the mean indication itself."""
    if kind["is_direct"]:
        return []
    if kind["measured"] == full.HOOD_PAIR:
        return _pair(kind)
    index = "jk" if kind["is_traverse"] else "k"
    x = _with(_letter("x", "x"), index)
    mean = _mean("q") if kind["measured"] == full.HOOD else _mean("v")
    single = _with(_letter("v", "v"), index)
    if kind["is_traverse"]:
        of_point = _mean_of("k", "m", single)
        return [
            mean + _EQUALS + _summed("j", _with(_letter("w", "w"), "j")) + _BESIDE + of_point,
            *_velocity(kind, single, x, index),
        ]
    if kind["measured"] == full.PRESSURE:
        return [mean + _EQUALS + _mean_of("k", "m", single), *_velocity(kind, single, x, index)]
    return _velocity(kind, mean, _mean("x"), index)


def _velocity(kind: Mapping[str, Any], single: _Piece, x: _Piece, index: str) -> list[_Piece]:
    corrected = _curve(kind, x)
    plain = {
        full.PRESSURE: lambda: _root(_over(_product(_number("2"), _in(corrected)), _RHO)),
        full.THERMAL: lambda: _product(_in(corrected), _over(_RHO_0, _RHO)),
        full.PAIR: lambda: _product(_in(corrected), _root(_over(_RHO_0, _RHO))),
        full.VANE: lambda: _over(_curve(kind, _product(_letter("s", "s"), x)), _letter("s", "s")),
    }.get(kind["measured"], lambda: corrected)()
    scale = [_letter("s", "s") + _EQUALS + _root(_over(_RHO, _RHO_0))] if kind["measured"] == full.VANE else []
    if not kind["has_probe"]:
        return [single + _EQUALS + plain, *scale]
    bare = _with(_letter("V", "V"), index)
    probe = _with(_C, "P")
    return [single + _EQUALS + bare + _PLUS + _of(probe, bare), bare + _EQUALS + plain, *scale]


def _curve(kind: Mapping[str, Any], x: _Piece) -> _Piece:
    """What the instrument's curve makes of an indication."""
    return x + _PLUS + _of(_C, x) if kind["is_polynomial"] else _of(_F, x)


def _pair(kind: Mapping[str, Any]) -> list[_Piece]:
    first, second = (_with(_letter("q", "q"), number) for number in "12")
    ratio = _over(
        _over(_R, _power(first, "2")) + _MINUS + _over(_number("1"), _power(second, "2")), _R + _MINUS + _number("1")
    )
    bracket = _Piece(f"({ratio.typst})", f"<mo>(</mo>{ratio.mathml}<mo>)</mo>", f"[{ratio.plain}]")
    means = [_with(_mean("x"), number) for number in "12"]
    own = [flow + _EQUALS + _curve(kind, mean) for flow, mean in zip((first, second), means, strict=True)]
    return [_mean("q") + _EQUALS + _power(bracket, "−1/2", "-1/2"), own[0] + _COMMA + own[1]]
