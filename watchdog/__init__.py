"""heatwarden: a second, independent layer of protection for heated 3D printers."""

__version__ = "0.1.0"
