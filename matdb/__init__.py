"""matdb: a temperature-aware elastomer store.

Readings of soft mounts come in from the bench; stiffness and damping ratio at a field temperature come out, each
with a band that says how sure it is.

Examples
--------
>>> import matdb
>>> with matdb.open_store("bench.sqlite") as store:  # doctest: +SKIP
...     store.add(matdb.Material(name="amber 40A", family="silicone", hardness="40 A"))
"""

from lazy_loader import attach_stub

from matdb.version import VERSION as __version__  # noqa: N811, F401

# __init__.pyi says what is public and which module has it; a module is imported when its name is first used.
__getattr__, __dir__, __all__ = attach_stub(__name__, __file__)
__all__ = sorted([*__all__, "__version__"])
