"""What a stage is, and everything about it that is worked out on paper."""
