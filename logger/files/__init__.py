"""Results on disk, whole or not at all."""
