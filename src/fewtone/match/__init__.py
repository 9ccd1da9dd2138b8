"""From a target to recipes: the exact picks over every recipe that the rules admit."""
