"""The usual cautions: one text, used wherever somebody might rely on more than there is."""

CAUTIONS: tuple[str, ...] = (
    "heatwarden is a second layer of protection. It is not a certified safety device and replaces none.",
    "Keep every thermal cut-off, thermal fuse and protection of the board that a heater has.",
    "Have a smoke alarm where the printers are, and do not leave them unattended because of heatwarden.",
    "Mains wiring follows the electrical code of where you live and is work for people licensed to do it.",
    "Both kinds of electronic switch commonly fail closed, and the contacts of a mechanical relay can weld.",
    "Try the trip of every printer, with the heater warm, before you rely on it, and again from time to time.",
)

IF_THIS_COMPUTER_DIES = "if this computer dies: power stays ON"
"""True of every relay that conducts by itself and only ever receives OFF."""
