"""What of a difference a linear filter explains."""
