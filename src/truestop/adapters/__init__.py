"""The outside world behind the ports: scores, engraving, audio files, the store."""
