"""Settings of the property tests: no deadline, since machines differ."""

from hypothesis import settings

settings.register_profile("calib", deadline=None, max_examples=3000)
settings.load_profile("calib")
