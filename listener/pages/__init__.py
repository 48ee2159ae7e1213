"""The pages: served on this machine alone, by one small application that each room adds its routes to."""
