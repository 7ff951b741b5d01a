"""Measurement and quality procedures (VIM 2.6): load, decide, append; one transaction each."""
