"""Pages to listen on."""
