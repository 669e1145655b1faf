"""The measure room; DEVELOPERS.md says what belongs here."""
