"""What instruments say of a real stage, and what stage that makes."""
