"""The append-only truth: canonical entries hashed onto gap-free chains, sealed together; typed rows derive
from it.
"""
