"""How many examples the property-based tests try: ``pytest --hypothesis-profile=deep`` tries many more."""

from hypothesis import settings

settings.register_profile("deep", max_examples=7000, print_blob=True)


def pytest_terminal_summary(terminalreporter):
    from examples import DEEP, RUN  # after the profile was chosen

    if DEEP:
        terminalreporter.write_line(f"examples run: {dict(RUN)}")
