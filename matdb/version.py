"""The program's version; pyproject.toml says the same, and a test holds the two together."""

VERSION = "0.2.0"
