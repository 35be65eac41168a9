"""Answers: effective stiffness, and which isolator suits."""
