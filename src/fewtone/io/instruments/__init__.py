"""Instrument files: what they hold, what of it fits the shelf, and where it goes."""
