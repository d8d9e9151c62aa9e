"""From sound to landings: arrays in, arrays out, blocks or whole takes alike."""
