"""Ask the boxes: transports fetch bytes, readers know formats."""
