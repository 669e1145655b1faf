"""The audio room; DEVELOPERS.md says what belongs here."""
