"""How film is seen against an upper."""
