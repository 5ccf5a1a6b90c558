"""Pictures: charts as PNG, the cut-open regulator as SVG, and the images of the README."""
