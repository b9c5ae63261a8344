"""traffic"""
