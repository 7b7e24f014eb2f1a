"""The first visit: a farm written screen by screen, before there is one to watch."""
