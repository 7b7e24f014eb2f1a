"""Checks across a farm's files: each yields every problem it finds, and raises nothing."""
