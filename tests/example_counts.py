"""Settings of the tests that try the whole public surface: few examples in the suite, many with the deep profile."""

from collections import Counter

from hypothesis import HealthCheck, Phase, settings

__all__ = ["DEEP", "RUN", "trying"]

#: Examples that were run, by test; the terminal summary of the deep profile tells them.
RUN: Counter[str] = Counter()

#: How many times more than usual.
_TIMES = max(settings.default.max_examples // 100, 1)
DEEP = _TIMES > 1


def trying(usual):
    """Settings for so many examples in the suite; the same ones every time, but for the deep profile."""
    return settings(
        max_examples=max(int(usual * _TIMES), 1),
        deadline=None,
        derandomize=not DEEP,
        suppress_health_check=list(HealthCheck),
        # Of many examples the first failure is told as it is; making it small would take as long again.
        phases=(Phase.explicit, Phase.reuse, Phase.generate) if DEEP else tuple(Phase),
    )
