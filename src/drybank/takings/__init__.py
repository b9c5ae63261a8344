"""takings"""
