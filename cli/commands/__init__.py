"""The commands, one a file, named as they are typed."""
