"""Fixtures of this folder; what they are made of stands in tests/helpers/mothership_paths.py."""

from tests.helpers.mothership_paths import planet_table

__all__ = ["planet_table"]
