"""EURACHEM/CITAC CG 4 (QUAM), 3rd edition 2012, examples A1 and A2: budgets of products, in relative uncertainties.

Source: reference_data/eurachem_quam; outputs class B, from memory, recomputed. In A1 the guide rounds u(V) to 0.07 mL and
u(m)/m to 0.0005 before it combines them, and prints 0.9 mg/L; unrounded inputs give 0.835 mg/L. Both are checked, each by
its own route.
"""

from calib.uncertainty.estimate import rectangular, triangular
from calib.uncertainty.propagation import combine
from tests.contributions import line
from tests.reference import agrees, printed


def read(file):
    return {symbol: float(text) for symbol, text in printed("eurachem_quam", file).items()}


def relative(*uncertainties):
    """Relative standard uncertainty of a product."""
    return combine([line(u) for u in uncertainties]).standard_uncertainty[0]


def standard():
    """A1: concentration of a calibration standard [mg/L] and its input."""
    given = read("a1_inputs")
    return 1000.0 * given["m"] * given["P"] / given["V"], given


def test_a1_concentration_of_a_calibration_standard():
    assert agrees(standard()[0], printed("eurachem_quam", "a1_published")["c"])


def test_a1_uncertainty_from_unrounded_inputs():
    c, given = standard()
    volume = [
        triangular(given["a(V) flask triangular"]),
        given["u(V) repeatability"],
        rectangular(given["a(V) temperature rectangular"]),
    ]
    u = c * relative(
        given["u(m)"] / given["m"],
        rectangular(given["a(P) rectangular"]) / given["P"],
        *(one / given["V"] for one in volume),
    )
    assert agrees(u, printed("eurachem_quam", "a1_published")["u(c) unrounded inputs"])


def test_a1_uncertainty_from_the_rounded_entries_of_the_guide():
    rounded = read("a1_published")
    u = standard()[0] * relative(*(rounded[f"u({one})/{one} printed"] for one in "mPV"))
    assert agrees(u, printed("eurachem_quam", "a1_published")["u(c) printed"])


def test_a2_standardisation_of_a_sodium_hydroxide_solution():
    given = read("a2_inputs")
    published = printed("eurachem_quam", "a2_published")
    c = 1000.0 * given["m"] * given["P"] / (given["M"] * given["V"])
    linearity = rectangular(given["a(m) rectangular, twice"]) / given["m"]
    u = c * relative(
        linearity,
        linearity,
        rectangular(given["a(P) rectangular"]) / given["P"],
        given["u(M)"] / given["M"],
        triangular(given["a(V) burette triangular"]) / given["V"],
        given["u(V) temperature"] / given["V"],
        given["u(R)"],
    )
    assert agrees(c, published["c"])
    assert agrees(u, published["u(c)"])
