"""What holds for all tests."""

from hypothesis import settings

# A deadline would be a timed test: it fails where the machine is busy, not where the code is wrong.
settings.register_profile("lantern", deadline=None)
settings.load_profile("lantern")
