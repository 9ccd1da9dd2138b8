"""Doses and recipes to colour, how far that may be off, and how likely a panel passes."""
