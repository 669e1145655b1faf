"""Settings of this room's tests."""

from hypothesis import HealthCheck, settings

# no test depends on how busy the machine is
settings.register_profile(
    "joblog", deadline=None, suppress_health_check=[HealthCheck.too_slow], max_examples=100
)
settings.load_profile("joblog")
