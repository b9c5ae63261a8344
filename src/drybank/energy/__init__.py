"""energy"""
