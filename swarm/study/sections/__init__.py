"""The sections of a study file: a class for each, whose attributes are the keys."""
