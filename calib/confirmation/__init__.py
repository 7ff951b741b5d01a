"""May this instrument be used, and what hangs on it (ISO 10012: metrological confirmation)."""
