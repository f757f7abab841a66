"""Keeps a session on disk as it happens, so that nothing acknowledged is ever lost."""
