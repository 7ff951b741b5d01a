"""Readings of one flow in pairs, and the outlet factor that they give."""
