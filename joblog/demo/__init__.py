"""The demo room; DEVELOPERS.md says what belongs here."""
