"""What all tests share: property tests without a time limit of their own, since these machines are noisy."""

from hypothesis import settings

settings.register_profile("patient", deadline=None)
settings.load_profile("patient")
