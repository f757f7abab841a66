"""How far two or more raters agree on the same findings; pure functions, no files."""
