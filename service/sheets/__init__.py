"""An answer for people: figures and lines, rendered as text or as a page."""
