"""What the findings of a session say together, of several sessions, and how both are shown."""
