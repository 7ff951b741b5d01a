"""limits.csv: mean +- 2 s of nist_ehandbook_resistivity/check_standard.csv, and the occasions beyond, counted from 0."""

from decimal import Decimal

from tests.reference import rows


def tables():
    (name,) = rows("nist_ehandbook_resistivity", "check_standard")[0]
    texts = [row[name] for row in rows("nist_ehandbook_resistivity", "check_standard")]
    values = list(map(Decimal, texts))
    mean = sum(values) / len(values)
    s = (sum((value - mean) ** 2 for value in values) / (len(values) - 1)).sqrt()
    found = {"LCL": f"{mean - 2 * s:.8f}", "UCL": f"{mean + 2 * s:.8f}"}
    out = {f"out {k}": texts[k] for k, value in enumerate(values) if abs(value - mean) > 2 * s}
    return {"limits": [{"symbol": symbol, "printed": text} for symbol, text in (found | out).items()]}
