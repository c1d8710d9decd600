"""The evidence page's template, styles and script."""
