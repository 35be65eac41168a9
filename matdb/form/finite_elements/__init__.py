"""The generator of the dimensionless stiffness tables in ``data/`` (development only: needs scikit-fem).

``python -m matdb.form.finite_elements --help`` says what it can do. Nothing at query time imports this package.
"""
