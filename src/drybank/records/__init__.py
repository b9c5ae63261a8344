"""Nouns: frozen, typed records of everything above; quantities, money, errors."""
