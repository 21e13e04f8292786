"""Fixtures of this folder; what they are made of stands in tests/helpers/refined_arcs.py."""

from tests.helpers.refined_arcs import arc, field, known, made

__all__ = ["arc", "field", "known", "made"]
