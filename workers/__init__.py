"""The hands at a site: they look into the ledger, and do what is owed. A message only makes them look sooner."""
