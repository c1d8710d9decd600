"""The rows of the audibility table, a kind of difference a file."""
