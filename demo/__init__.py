"""An invented day on an invented farm, played fast: the real service, a simulated world."""
