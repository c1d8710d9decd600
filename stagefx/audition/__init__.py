"""Two versions of a piece of music, worked out once, and asked many things."""
