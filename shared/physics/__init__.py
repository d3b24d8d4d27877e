"""Numbers in, numbers out, SI, each with its published source."""
