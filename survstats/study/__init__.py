"""The agreed analysis."""
