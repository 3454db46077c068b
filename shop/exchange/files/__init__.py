"""Files that come in and go out: CSV and XLSX, cells as text in both."""
