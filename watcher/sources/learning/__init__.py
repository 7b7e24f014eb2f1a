"""Looking at what an unknown station sends: what it may mean, in which unit, by which clock."""
