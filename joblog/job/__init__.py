"""The job room; DEVELOPERS.md says what belongs here."""
