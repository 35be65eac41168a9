"""CSV and JSON, in and out."""
