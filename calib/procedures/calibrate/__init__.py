"""A calibration from its certificate to its end: add, calibrate in house, accept, choose a curve, withdraw.

Decision (2026-11). The curve is stored with all its digits, so that a later fit does not change a reported flow. Cost: last bits,
and digests, differ between machines.

Decision (2026-11). An acceptance judges the indication, or the corrected value where a person says so; nobody overrides a failed
one. Cost: an instrument that fails at one point is out of use as a whole.

Decision (2026-11). Acceptances in an import are statements about the past, judged where they name a rule. Cost: whoever imports
answers.
"""
