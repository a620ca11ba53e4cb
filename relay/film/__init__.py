"""Film arithmetic, exact and pure: gauges, footage, speeds, timecode, edge code and repeat patterns."""
