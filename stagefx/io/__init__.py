"""Audio files in blocks, output whole or not at all, reading ahead, texts of users."""
