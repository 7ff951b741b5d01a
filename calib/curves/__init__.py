"""From indication to value (VIM 4.31)."""
