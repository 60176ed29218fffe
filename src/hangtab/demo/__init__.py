"""The invented world: agents that buy and sell, the sources a user would have, and the truth kept apart.

Door: `write_world(folder, seed, scale, on_step)`. It knows the catalogue's model and the words, and nothing of the
stages that read what it writes.
"""

from hangtab.demo.world import write_world

__all__ = ["write_world"]
