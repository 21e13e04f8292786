"""Fixtures of this folder; what they are made of stands in tests/helpers/batches.py."""

from tests.helpers.batches import swarm, undisturbed

__all__ = ["swarm", "undisturbed"]
