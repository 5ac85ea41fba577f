"""Settings: rule book, machine classes and price book, read from TOML and held to their limits."""
