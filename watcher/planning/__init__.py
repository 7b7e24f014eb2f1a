"""The plan of the day: which field, with which sprayer, in which order, with what chance."""
