"""Transfers measured beside other programs, on the same server, in the same run: `python -m tests.bench.transfer`."""
