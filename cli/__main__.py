"""`python -m stagefx_cli` does what `stagefx` does."""

from .main import main

main()
