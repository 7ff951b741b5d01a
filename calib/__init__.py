"""Calibration records of air-flow instruments, and the measurement uncertainty of the flows measured with them."""

__version__ = "0.1.0"
