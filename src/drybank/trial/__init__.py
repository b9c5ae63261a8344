"""trial"""
