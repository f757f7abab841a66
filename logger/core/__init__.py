"""What passes between the layers; imports nothing else of ours."""
