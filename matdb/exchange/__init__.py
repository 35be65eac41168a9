"""Records and answers in and out of files: CSV, JSON, the demo scenario."""
