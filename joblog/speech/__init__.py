"""The speech room; DEVELOPERS.md says what belongs here."""
