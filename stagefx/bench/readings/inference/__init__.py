"""What each family of readings says of the stage."""
