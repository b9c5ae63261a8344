"""balance"""
