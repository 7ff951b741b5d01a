"""Verify the whole state: what is stored, and that it means what the program would have written (ISO/IEC 17025:2017, 7.11)."""
