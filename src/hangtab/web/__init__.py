"""Web: the page of a well-set reference book, and a JSON API beside it.

Promises: it only translates; every figure and rule comes from a use-case.
Reads: requests. Gives: pages, JSON and CSV under a strict Content-Security-Policy.
Not here: SQL (storage), pictures (rendering), or anything the command line could not answer as well.
"""
