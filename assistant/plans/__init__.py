"""Plan and shop files (TOML) to frozen dataclasses, and the job that both make together."""
