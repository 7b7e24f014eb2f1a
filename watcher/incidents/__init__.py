"""Accounts of incidents: drift is suspected, and what the log holds of that time is sealed."""
