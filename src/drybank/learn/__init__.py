"""learn"""
