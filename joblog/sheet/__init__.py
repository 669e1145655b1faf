"""The sheet room; DEVELOPERS.md says what belongs here."""
