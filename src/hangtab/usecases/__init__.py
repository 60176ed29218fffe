"""What a user can do, one module a verb; CLI, web and notebook only translate these.

Parts in (a book, a catalogue, a clock), a dataclass out, nothing printed. `ports` says what is asked of the book,
`views` what an answer holds.
"""
