"""The axes of a drawing for a page: how far they reach, where they are marked, how a number is written there."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import ClassVar

from markupsafe import Markup, escape

_WIDTH, _TOP = 760.0, 30.0  # units of the drawing
_MARKS = 5  # at each axis, about


@dataclass(frozen=True)
class PageAxes:
    """Two axes on a sheet of a height, of which the lowest part is for what stands under them; both from least to greatest."""

    height: float  # units of the drawing
    under: float
    along: tuple[float, float]
    upright: tuple[float, float]
    left: ClassVar[float] = 90.0
    right: ClassVar[float] = _WIDTH - 20.0

    def x(self, value: float) -> float:
        """Where a value stands along."""
        low, high = self.along
        return self.left + (value - low) / (high - low) * (self.right - self.left)

    def y(self, value: float) -> float:
        """Where a value stands upright."""
        low, high = self.upright
        return self.height - self.under - (value - low) / (high - low) * (self.height - _TOP - self.under)

    def across(self, kind: str, value: float) -> str:
        """A line from side to side."""
        at = f"{self.y(value):.1f}"
        return f'<line class="{kind}" x1="{self.left}" x2="{self.right}" y1="{at}" y2="{at}"/>'

    def levels(self) -> list[str]:
        """The marks of the upright axis."""
        return [
            f"{self.across('mark', at)}"
            f'<text class="level" x="{self.left - 8}" y="{self.y(at):.1f}" dominant-baseline="central">{told(at)}</text>'
            for at in marks(*self.upright)
        ]

    def drawn(self, kind: str, parts: Sequence[str], described_by: str) -> Markup:
        """The drawing; `described_by` is the element of the page that holds its words. Texts in its parts are escaped already."""
        size = f"{_WIDTH:.0f} {self.height:.0f}"
        return Markup(  # noqa: S704
            f'<svg class="{kind}" viewBox="0 0 {size}" role="img" aria-labelledby="{escape(described_by)}">{"".join(parts)}</svg>'
        )


def reach(values: Iterable[float]) -> tuple[float, float]:
    """From the least to the greatest and a twentieth beyond both."""
    every = list(values)
    low, high = min(every), max(every)
    beyond = (high - low) / 20 or abs(high) / 20 or 1.0
    return float(low - beyond), float(high + beyond)


def marks(low: float, high: float) -> list[float]:
    """Round values between two, about as many as there should be marks: steps of 1, 2 or 5 times a power of ten."""
    rough = (high - low) / _MARKS
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * factor for factor in (1, 2, 5, 10) if power * factor >= rough)
    return [step * at for at in range(math.ceil(low / step), math.floor(high / step) + 1)]


def told(value: float) -> str:
    """A mark in letters; a minus sign is one."""
    return format(value + 0.0, ".6g").replace("-", "−")
