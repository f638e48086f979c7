"""The rules: what proves a proposal, and what proves the rules."""
