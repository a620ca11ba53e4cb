"""The append-only record: what was said, by whom, and what it means."""
