"""`python -m hangtab` is the command `hangtab`."""

from hangtab.cli import main

if __name__ == "__main__":
    main()
