"""The edges that touch disk: the book, the only SQL of the project, and the folders and files that feed it.

Doors: `open_book`, `create_book`, `SqlBook` (fulfils `usecases.ports.Book`). Beside them `folders` and `rates_file`.
"""

from hangtab.storage.book import SqlBook, create_book, open_book

__all__ = ["SqlBook", "create_book", "open_book"]
