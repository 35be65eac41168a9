"""The generator of the dimensionless stiffness tables in ``data/`` (for contributors: needs scikit-fem).

``python -m tests.generators.finite_elements --help`` in a checkout says what it can do.
"""
