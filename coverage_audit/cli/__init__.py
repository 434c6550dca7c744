"""The commands, one file each: options and words, no logic."""
