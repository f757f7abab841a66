"""The page of the live session: a server for this machine alone, and what the browser runs."""
