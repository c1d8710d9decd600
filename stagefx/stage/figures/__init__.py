"""What a stage does, worked out on paper."""
