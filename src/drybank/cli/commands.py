"""Every command module, in the order `drybank --help` lists them. Importing one registers it."""

from drybank.cli import files, house, card, setting, proof, weigh  # noqa: F401, I001
