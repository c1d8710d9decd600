"""What a stage is: its parts as a stage file states them."""
