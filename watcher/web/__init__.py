"""The HTTP edge: where stations post and the watch says how it is."""
