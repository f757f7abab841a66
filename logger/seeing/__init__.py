"""The eye: from the frames of a recording to arm-to-trunk angles with their quality."""
