"""Question files, and all that one of them names."""
