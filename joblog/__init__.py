"""Offline job log for technicians whose hands are full.

Data flows one way: sound and photos become hearings and readings, these become entries of an
append-only record, and everything shown or printed is computed from the record by replay.
"""

__version__ = "0.1.0"
