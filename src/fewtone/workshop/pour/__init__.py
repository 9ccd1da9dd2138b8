"""Pouring a mix: what it is made of, in which amounts and units."""
