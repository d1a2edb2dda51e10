"""Charts as SVG text: axes, marks, the layout for a width, and the plots of reports."""
