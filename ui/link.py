"""The editor's end of the talk with the engine."""
