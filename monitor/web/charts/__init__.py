"""Charts, drawn by the server as SVG: pure functions from readings to shapes and words."""
