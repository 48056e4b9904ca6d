"""Layer 1: files in the rescue's own words in, validated tables out."""

from mendcurve.records.building import from_frames
from mendcurve.records.crosschecks import balance_gap
from mendcurve.records.loading import load
from mendcurve.records.records import Records
from mendcurve.records.settings import Settings, settings_from

__all__ = ["Records", "Settings", "balance_gap", "from_frames", "load", "settings_from"]
