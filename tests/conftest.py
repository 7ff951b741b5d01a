"""Settings of the property tests: no deadline, since machines differ."""

from hypothesis import settings

settings.register_profile("calib", deadline=None, max_examples=60)
settings.load_profile("calib")
