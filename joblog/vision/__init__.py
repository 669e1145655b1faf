"""The vision room; DEVELOPERS.md says what belongs here."""
