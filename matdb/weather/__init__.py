"""Forecast sources to temperatures over time."""
