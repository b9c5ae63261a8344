"""`python -m drybank.web`: serve the pages of one book; `drybank open` runs it."""

from drybank.web.serving import main

if __name__ == "__main__":
    main()
