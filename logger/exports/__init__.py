"""Sessions in forms that other programs read, and back."""
