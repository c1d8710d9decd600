"""The stage as a circuit, from the source to the load."""
