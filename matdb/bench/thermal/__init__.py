"""Temperature of a part in the freezer, in the oven and on the way to the bench."""
