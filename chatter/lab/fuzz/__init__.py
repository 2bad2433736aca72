"""Damaged files on purpose: does each get an answer or one plain sentence?"""
