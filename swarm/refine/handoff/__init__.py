"""The package that other people's tools read."""
