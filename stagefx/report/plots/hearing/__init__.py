"""Pictures of differences and of hearing."""
