"""Signing up, in and out, forgotten passwords, and what a member sets about themselves.

The flows are allauth's (its account app only); here are their words, their limits and their addresses.
"""
