"""What stands for each bearing: opened at which outage, replaced from which reading, left
closed until when.
"""
