"""Whether an instrument may be used that somebody holds in their hand, and what else could be, as its label leads to it."""

from collections.abc import Sequence
from datetime import datetime

from calib.faces.answers import readiness
from calib.faces.plain_text import one_line
from calib.faces.written import Content
from calib.procedures.fleet.ready import Readiness


def document(now: datetime, at_hand: Readiness, instead: Sequence[Readiness]) -> Content:
    """The gate's answer on one instrument, and on those that may be used instead."""
    (own,) = readiness.document(now, [at_hand], None)["instruments"]
    return {
        "on": str(now.date()),
        **own,
        "maker": at_hand.instrument.maker,
        "model": at_hand.instrument.model,
        "serial": at_hand.instrument.serial,
        "said": readiness.lines(own),
        "instead": readiness.document(now, instead, None)["instruments"],
    }


def text(answer: Content) -> str:
    """The same for people."""
    others = ", ".join(one_line(each["tag"]) for each in answer["instead"])
    own = readiness.text({"at": answer["on"], "instruments": [answer]})
    return own if answer["allowed"] else f"{own}\n  may be used instead: {others or 'none that measures the same'}"
