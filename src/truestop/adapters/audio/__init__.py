"""Sound files and the microphone."""
