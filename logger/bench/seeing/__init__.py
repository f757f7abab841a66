"""What the eye gets right on pictures and recordings whose angles are known."""
