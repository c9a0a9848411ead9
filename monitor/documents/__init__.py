"""Documents a keeper writes: TOML read into strict models, problems told in plain words."""
