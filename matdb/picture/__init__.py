"""What is looked at: charts, drawn as PNG or SVG or in the terminal, and the field page."""
