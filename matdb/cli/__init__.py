"""The commands; the only place that knows the screen."""
