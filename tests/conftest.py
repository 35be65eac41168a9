"""How many examples the property-based tests try: ``pytest --hypothesis-profile=deep`` tries many more."""

import os
import sys

# Containers often forbid to keep what was compiled; each of some hundred processes would compile everything anew.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False
# Workers share the cores already; threads below them would only wait for one another.
for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import pytest  # noqa: E402
from hypothesis import settings  # noqa: E402

settings.register_profile("deep", max_examples=7000, print_blob=True)


def pytest_sessionfinish(session):
    from example_counts import RUN

    if hasattr(session.config, "workeroutput"):  # of a worker: handed to the one that sums up
        session.config.workeroutput["examples"] = dict(RUN)


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node, error):
    from example_counts import RUN

    RUN.update(getattr(node, "workeroutput", {}).get("examples", {}))


def pytest_terminal_summary(terminalreporter):
    from example_counts import DEEP, RUN  # after the profile was chosen

    if DEEP:
        terminalreporter.write_line(f"examples run: {dict(RUN)}")
