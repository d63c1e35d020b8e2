"""The props of the demo: a broker, printers and plugs on loopback, and what is shown of them."""
