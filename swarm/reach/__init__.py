"""Catalogue and mothership in, opportunities out: nothing within reach is lost."""
