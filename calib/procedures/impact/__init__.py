"""Traceability, and what hangs on an instrument that was found out of order (ISO/IEC 17025:2017, 7.10)."""
