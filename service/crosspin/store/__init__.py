"""Where the graph lives."""
