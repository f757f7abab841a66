"""Pure functions from what was heard and seen to the rows of the table."""
