"""An invented season and the simulator that made it."""
