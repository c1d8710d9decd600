"""From readings of a meter and a scope to a stage."""
