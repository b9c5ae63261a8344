"""Every command module, in the order `drybank --help` lists them. Importing one registers it."""
