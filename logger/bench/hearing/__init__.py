"""How well findings are heard, how little talk is, and how fast: tracks, truth, score, table."""
