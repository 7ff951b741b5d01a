"""flows.csv: p = R q^2 at a constant plenum pressure.

R = 100, 105 and 120 s2/m6 without a hood, with it, and with four times its resistance."""

from math import sqrt

OPEN, HOOD, THROTTLED = 100.0, 105.0, 120.0
AT_OPEN = 0.1  # m3/s


def tables():
    q_1, q_2 = (AT_OPEN * sqrt(OPEN / resistance) for resistance in (HOOD, THROTTLED))
    ratio = (THROTTLED - OPEN) / (HOOD - OPEN)
    values = [
        ("q1", f"{q_1:.11f}", "m3/s"),
        ("q2", f"{q_2:.11f}", "m3/s"),
        ("r", f"{ratio:.0f}", ""),
        ("q0", f"{AT_OPEN:.10f}", "m3/s"),
        ("error of q1", f"{100 * (q_1 / AT_OPEN - 1):.6f}", "%"),
    ]
    return {"flows": [dict(zip(("symbol", "printed", "unit"), row, strict=True)) for row in values]}
