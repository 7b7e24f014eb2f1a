"""Charts on paper or screen, PNG or SVG. Everything is shown by shape, place or word, never only
by colour. matplotlib is asked for when one is drawn: it is an extra, the watch runs without it."""
