"""Charts and maps as SVG, made here: what is drawn is worked out in Python and escaped."""
