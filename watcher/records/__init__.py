"""Records of applications: what was sprayed, where, in what weather; sealed and checkable."""
