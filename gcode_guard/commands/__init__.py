"""The commands: each one thin. Everything that a command needs is imported when it runs."""
