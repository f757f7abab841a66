"""From words to meaning: the pack, its spoken forms, the parser, doubts and the listing."""
