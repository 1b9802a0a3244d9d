"""The files a user writes: reading them with positions, their models, for_each, parts, mirror, JSON Schema."""
