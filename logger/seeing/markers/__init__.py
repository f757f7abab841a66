"""The precise option: printed markers on folded strips give the arm's angle in three dimensions."""
