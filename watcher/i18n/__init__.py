"""Texts as data, and the languages they are put into."""
