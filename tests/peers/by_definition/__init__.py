"""The definitions of docs/numbers.md in their plain form, with numpy and scipy alone.

Nothing here was taken from Emberline's code: who changes a definition writes it down once there and
once here, from the text.
"""
