"""Offline job log for technicians whose hands are full.

Data flows one way: sound and photos become hearings and readings, these become entries of an
append-only record, and everything shown or printed is computed from the record by replay.
"""

import os

# Nothing leaves the shop: what joblog rests on must not tell its makers how it is used. Read by
# onnxruntime (from 1.32 on it reports to its maker otherwise) and by the framework of the pages.
os.environ["ORT_DISABLE_TELEMETRY"] = "1"
os.environ["OTEL_SDK_DISABLED"] = "true"

__version__ = "0.1.0"
