"""One delay for a whole piece."""
