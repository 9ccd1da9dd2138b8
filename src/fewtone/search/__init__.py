"""Every recipe that may lie within a radius of a target: exact, whatever bounds leave out."""
