"""A calibration from its certificate to its end: add, calibrate in house, accept, choose a curve, withdraw."""
