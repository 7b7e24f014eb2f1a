"""How wrong forecasts are here, and what may come of the present ones: pure, on arrays."""
