"""Plots and the field page."""
