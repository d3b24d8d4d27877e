"""Readings in, one answer out: what the sensors mean. Pure, by event time."""
