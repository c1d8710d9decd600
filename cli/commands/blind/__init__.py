"""`stagefx blind`: do people hear it, without knowing which is which."""
