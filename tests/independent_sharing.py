"""What totals are worth by the rules of sharing, worked out group by group from the errors that `independent_ways` carries.

Nothing of `calib` is used. `component(y, x)` is the signed component of uncertainty of an uncertain number y from an error x.

    reference standard  one laboratory and quantity: P^2 + N^2 over what the total bears at each comparison
    stability           one calibration: (P + N)^2 over the same
    stated of the air   one error for all of one sign: P^2 + N^2 over the readings
    the first two       never below the sum of squares of what each reading bears

The hood's pairs bear the error of one calibration with both signs; a reading by itself takes it as one influence. All readings of
the hood belong to supplies, where that makes it common.
"""

import math
from collections import defaultdict

from tests.independent_ways import WITHIN_A_SIGN

REFERENCE = ("reference standard", "probe reference")


def variances_along_calibrations(ways, signs, component):
    """Variance of a total for each group, by its influence; the reference parts of instruments and probes together."""
    worth, own = defaultdict(list), defaultdict(list)
    for (name, tag, _), node in ways.nodes.items():
        group = _group(ways, name, tag)
        total = math.fsum(sign * component(ways.flows[outlet], node) for outlet, sign in signs.items())
        worth[group].append(total)
    for name, tag in dict.fromkeys(key[:2] for key in ways.nodes):
        mine = [node for key, node in ways.nodes.items() if key[:2] == (name, tag)]
        for outlet, sign in signs.items():
            borne = sign * math.fsum(component(ways.flows[outlet], node) for node in mine)
            own[_group(ways, name, tag)].append(borne)
    return {group: _variance(group, worth[group], own[group]) for group in worth}


def squares_along_calibrations(ways, signs, component):
    """Sum of the squares of what the total bears at all comparisons: what counts where they are independent."""
    totals = (
        math.fsum(sign * component(ways.flows[outlet], node) for outlet, sign in signs.items())
        for node in ways.nodes.values()
    )
    return math.fsum(total**2 for total in totals)


def _group(ways, name, tag):
    if name in REFERENCE:
        instrument, certificate = ways.instruments[tag], ways.certificates[tag]
        return "reference standard", certificate["laboratory"], instrument["quantity"]
    return name, tag


def _variance(group, worth, own):
    if group[-1] in ("FH-1", "volume flow"):
        return math.fsum(own) ** 2
    stated = group[0] in WITHIN_A_SIGN
    plus, minus = (math.fsum(one for one in (own if stated else worth) if sign * one > 0) for sign in (1, -1))
    if stated:
        return plus**2 + minus**2
    known = plus**2 + minus**2 if group[0] == "reference standard" else (plus - minus) ** 2
    return max(known, math.fsum(one**2 for one in own))
