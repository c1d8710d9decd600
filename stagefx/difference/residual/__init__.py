"""What is left of a difference."""
