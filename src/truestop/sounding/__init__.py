"""From pitches to sound: a bowed-string synthesiser, clicks and drones as arrays."""
