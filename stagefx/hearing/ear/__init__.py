"""An ear after ITU-R BS.1387: what of a difference reaches hearing, when, and how high."""
