"""An intermediate check that was recorded, as `calib check add` answers."""

from collections.abc import Iterator

from calib.faces.written import Content


def document(check: Content) -> Content:
    """The check as typed, with its result and what that rests on."""
    return check


def text(answer: Content) -> str:
    """The same for people."""
    return "\n".join(_lines(answer, answer["basis"] or {}))


def _lines(check: Content, basis: Content) -> Iterator[str]:
    yield f"{check['tag']}: {check['kind']} check {check['result']}{_against(check)}"
    for value in basis.get("values", ()):
        u, unit = value["expanded_uncertainty"], basis["unit"]
        yield f"  {value['tag']}: {value['value']:.6g} ± {u:.2g} {unit}, k = 2 ({value['uncertainty']})"
    if basis.get("caution"):
        yield "  caution: |E_n| is 0.8 or above: compare again, or with a third instrument"
    if basis.get("same_laboratory"):
        yield f"  both were calibrated by {basis['same_laboratory']}: an error that both share does not show here"
    if "count" in basis:
        yield f"  limits from {basis['count']} values, mean {basis['mean']:.6g}, s {basis['standard_deviation']:.2g}"


def _against(check: Content) -> str:
    if check["basis"] is None:
        return ""
    if "normalised_error" in check["basis"]:
        return f", E_n = {check['basis']['normalised_error']:.2f} against {check['other']}"
    return f": {check['value']} {check['unit']} against {check['low']} to {check['high']} {check['unit']}"
