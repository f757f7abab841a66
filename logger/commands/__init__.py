"""The commands, one file each: arguments in, sentences and tables out."""
