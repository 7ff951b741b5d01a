"""Formulas in the notation of the GUM, before anybody writes them: terms that a way of measuring is said with.

Who writes one (on a page, in a PDF, in a line of text) takes it apart; here stands only what it means.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Letter:
    """A quantity by its symbol, like x, v with the index k, or the mean of x."""

    sign: str
    index: str = ""
    is_word: bool = False  # the index is a word, and no letters that count
    is_mean: bool = False

    def at(self, index: str, *, is_word: bool = False) -> "Letter":
        """The letter with an index."""
        return Letter(self.sign, index, is_word, self.is_mean)


@dataclass(frozen=True)
class Digits:
    """A number."""

    digits: str


@dataclass(frozen=True)
class Joined:
    """Terms with a sign between them: + − · = or a comma; a space or nothing between factors side by side, apart or close."""

    sign: str
    terms: tuple["Term", ...]


@dataclass(frozen=True)
class Bracket:
    """A term in brackets."""

    inner: "Term"
    is_square: bool = False


@dataclass(frozen=True)
class FunctionOf:
    """Value of a function, f(x)."""

    function: Letter
    argument: "Term"


@dataclass(frozen=True)
class Quotient:
    """One term over another."""

    above: "Term"
    below: "Term"


@dataclass(frozen=True)
class Root:
    """Square root of a term."""

    inner: "Term"


@dataclass(frozen=True)
class Power:
    """A term to an exponent as it is printed."""

    base: "Term"
    exponent: str


@dataclass(frozen=True)
class SumOver:
    """Sum of a term over an index."""

    index: str
    term: "Term"


Term = Letter | Digits | Joined | Bracket | FunctionOf | Quotient | Root | Power | SumOver

RHO, RHO_0 = Letter("ρ"), Letter("ρ", "0")


def plus(*terms: Term) -> Term:
    """Sum of terms."""
    return Joined("+", terms)


def minus(first: Term, second: Term) -> Term:
    """Difference of two terms."""
    return Joined("−", (first, second))


def times(*terms: Term) -> Term:
    """Product of terms, with its sign."""
    return Joined("·", terms)


def equation(left: Term, right: Term) -> Term:
    """Two terms that are equal."""
    return Joined("=", (left, right))


def mean(sign: str) -> Letter:
    """The mean of a quantity."""
    return Letter(sign, is_mean=True)
