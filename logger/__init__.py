"""Spoken findings of shoulder accessory-movement tests, merged with the arm's angle."""
