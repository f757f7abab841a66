"""Recordings: sound and pictures with their times, decoded by FFmpeg through PyAV."""
