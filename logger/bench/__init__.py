"""Measurements that others can run: what the tool gets right, and what it costs."""
