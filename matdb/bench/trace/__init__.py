"""A recorded trace to the modes that ring in it: functions over one state."""
