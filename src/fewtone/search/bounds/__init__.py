"""What bounds the colours that a region of recipes can reach."""
