"""Random small worlds and an independent reference for the search."""
