"""The running watch: everything built once, scheduled, judged, stopped in order."""
