"""The players, the room and the pieces from which the sample music is made."""
