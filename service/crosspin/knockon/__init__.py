"""From an ask to a proposal: search over what may change."""
