"""The web room; DEVELOPERS.md says what belongs here."""
