"""From readings to a master curve with bands."""
