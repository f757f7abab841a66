"""How the taught encoder was made: clean speech, spoilt copies, training, export.

Only `speech` and `spoiling` run in the project's own environment; `training` and `exporting` want
one with JAX, optax and onnx (see DEVELOPERS.md). Nothing here is used while hearing.
"""
