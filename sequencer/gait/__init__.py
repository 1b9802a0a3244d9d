"""The files a user writes: reading with positions, models, for_each, parts, mirror, JSON Schema."""
