"""Where the harvest went: picked, eaten, put by, given, lost."""
