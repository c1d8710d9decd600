"""The fuzzer itself is not there in an ordinary run."""

collect_ignore = ["child.py"]
