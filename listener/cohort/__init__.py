"""Many recordings at once: found in a folder, heard side by side on Dask, told in tables and one overview."""
