"""From what an instrument shows to what made it: one law each, from numbers to numbers."""
