"""The record room; DEVELOPERS.md says what belongs here."""
