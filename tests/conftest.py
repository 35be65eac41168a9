"""How many examples the property-based tests try: ``pytest --hypothesis-profile=deep`` tries many more."""

from hypothesis import settings

settings.register_profile("deep", max_examples=5000, print_blob=True)
