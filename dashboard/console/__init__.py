"""What the command prints and asks: one file a subcommand that needs more than a line."""
