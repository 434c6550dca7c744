"""Ways to reach a box: they run a command or read a folder, and know no format."""
