"""A session while it is going on: what is heard, seen and pressed becomes what is shown."""
