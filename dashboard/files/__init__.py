"""What leaves the reader as files: tables as CSV, XLSX and Parquet, and the calendar of re-check dates."""
