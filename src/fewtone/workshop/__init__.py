"""What a finisher does around the match: each a function that returns a frozen result."""
