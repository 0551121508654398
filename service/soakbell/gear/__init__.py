"""Strings, traps and the log: what is in the water, since when. Pure."""
