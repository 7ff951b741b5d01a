"""Measurement functions (VIM 2.49): SI in, SI out, no uncertainty, no storage."""
