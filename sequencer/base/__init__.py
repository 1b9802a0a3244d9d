"""Plain data that every other part stands on: places, findings, errors, numbers."""
