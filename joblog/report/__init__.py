"""The report room; DEVELOPERS.md says what belongs here."""
