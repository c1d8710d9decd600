"""What all pages share: shell, styles, player, passage line, and how scripts are joined."""
