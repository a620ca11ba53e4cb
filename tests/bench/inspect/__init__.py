"""How fast frames are looked at and copied, beside a plain hash of the same files: `python -m tests.bench.inspect`."""
