"""What every window is made of: canvases, panels, keys, theme, and words."""
