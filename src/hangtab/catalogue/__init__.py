"""The catalogue: what exists, read from plain text files a person can write.

Doors: `Catalogue` and its parts (model), `read_catalogue(files)` (reading). Formats: TOML for structure, CSV for
lists, each with a JSON Schema in `schema/`. Errors name file, line, key and mend.
"""
