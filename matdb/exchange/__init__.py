"""Records and answers in and out of files: CSV, XLSX, JSON."""
