"""What changed between two versions of a piece: level, balance, time, response, and the rest."""
