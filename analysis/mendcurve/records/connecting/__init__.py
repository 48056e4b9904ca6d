"""A folder of foreign spreadsheets to a proposed records.toml: what was seen, what it is, why, and what is in doubt."""
