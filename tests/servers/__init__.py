"""Real servers and unkind networks, started on 127.0.0.1 in folders of their own and gone with the test session."""
