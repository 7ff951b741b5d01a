"""Runs the published checks that ship with the program, and records what they gave."""
