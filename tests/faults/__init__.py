"""What is broken on purpose: processes killed at each step, answers lost, a full disk, two at once. See
__main__.
"""
