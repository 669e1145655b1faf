"""Charts drawn as SVG: one module a chart; ``svg`` holds what they share."""
