"""table.csv: V = 4005 sqrt(p_v) ft/min of a velocity pressure [inH2O], to four digits or the half."""

from decimal import Decimal

from tests.reference import rows

PRESSURE, VELOCITY = "velocity pressure [inH2O]", "velocity [fpm]"


def tables():
    made = []
    for row in rows("velocity_pressure", "table"):
        velocity = 4005 * Decimal(row[PRESSURE]).sqrt()
        decimals = max(0, -Decimal(row[VELOCITY]).as_tuple().exponent)
        made.append({PRESSURE: row[PRESSURE], VELOCITY: f"{velocity:.{decimals}f}"})
    return {"table": made}
