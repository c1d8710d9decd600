"""Pictures: their frame and style, cards."""
