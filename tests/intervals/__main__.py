"""Review fleets of known drift and print what was stated, what was found, and how often a certificate moved a proposal far.

    python -m tests.intervals FLEETS

Each fleet takes about 5 ms of a processor.
"""

import sys

import numpy as np

from tests.intervals.fleets import LAWS, reviewed

_SEED = 20_000


def rows(fleets, seed=_SEED):
    """A row for all fleets, for each law, for as many instruments that are alone and for those whose proposal nothing cut."""
    told = [reviewed(seed + place) for place in range(fleets)]
    kinds = {
        "all": told,
        **{law: [one for one in told if one.law == law] for law in LAWS},
        "one instrument": [reviewed(seed + place, alone=True) for place in range(fleets)],
        "below twice the present interval": [one for one in told if one.share_of_present < 2 and not one.adjusts],
        "adjusted": [one for one in told if one.adjusts],
    }
    return {name: figures(some) for name, some in kinds.items() if some}


def figures(told):
    """Fleets, stated reliability, share found in tolerance, share of proposals moved by more than a step, mean length."""
    stated, found, moved, length = (
        float(np.mean([value(one) for one in told]))
        for value in (
            lambda one: one.stated,
            lambda one: one.found,
            lambda one: one.moved > 1,
            lambda one: one.share_of_present,
        )
    )
    return {"fleets": len(told), "stated": stated, "found": found, "moved": moved, "length": length}


if __name__ == "__main__":
    for name, row in rows(int(sys.argv[1])).items():
        print(
            f"{name}: {row['fleets']} fleets, stated {100 * row['stated']:.1f} %, found {100 * row['found']:.1f} %, "
            f"moved by more than a step {100 * row['moved']:.1f} %, {row['length']:.2f} of the present interval"
        )
