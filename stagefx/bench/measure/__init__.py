"""What a recording of a test signal says of the stage it was played through."""
