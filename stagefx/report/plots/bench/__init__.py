"""Pictures of measurements."""
