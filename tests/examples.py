"""Settings of the tests that try the whole public surface: few examples in the suite, many with the deep profile."""

from hypothesis import HealthCheck, settings

__all__ = ["DEEP", "trying"]

#: How many times more than usual.
_TIMES = max(settings.default.max_examples // 100, 1)
DEEP = _TIMES > 1


def trying(usual):
    """Settings for so many examples in the suite; the same ones every time, but for the deep profile."""
    return settings(
        max_examples=usual * _TIMES, deadline=None, derandomize=not DEEP, suppress_health_check=list(HealthCheck)
    )
