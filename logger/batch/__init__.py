"""Many recordings: which are to be read, and reading them beside each other."""
