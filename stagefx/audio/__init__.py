"""Files in blocks, levels and loudness, alignment, dither."""
