"""Fixtures of this folder; what they are made of stands in tests/helpers/tiny_study.py."""

from tests.helpers.tiny_study import swarm, tiny

__all__ = ["swarm", "tiny"]
