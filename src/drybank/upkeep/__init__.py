"""upkeep"""
