"""The plan: what a gait file means, as flat, immutable tables. Everything else reads this."""
