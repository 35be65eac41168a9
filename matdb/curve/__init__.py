"""From readings to a master curve with bands."""

from lazy_loader import attach

__getattr__, __dir__, __all__ = attach(__name__, ["fit", "low_temperature", "next_reading", "prony"])
