"""Forecast sources to temperatures over time, at the site, and of the part itself."""
