"""Audio in, utterances out: voice activity, a constrained decoder, and its verdict."""
