"""Pictures of a stage on paper."""
