"""The instruments: ready or not, events, checks, intervals, rounds, labels, files."""
