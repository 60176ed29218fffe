"""What exists: lines, releases, running changes, features, flaws, graders, venues, tax rules.

Plain text files (TOML, CSV) become one frozen `Catalogue`; every problem of every file is found in one go. Doors:
`read_catalogue(files)`, `starter_files()`, `variants(catalogue)`. Reads no folder: files come in as bytes.
"""

from hangtab.catalogue.model import Catalogue
from hangtab.catalogue.reading import read_catalogue, starter_files
from hangtab.catalogue.variants import variants

__all__ = ["Catalogue", "read_catalogue", "starter_files", "variants"]
