"""Reading and writing scores: MusicXML, ABC, MIDI."""
