"""The educator's review in the browser."""
