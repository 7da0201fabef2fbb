"""What flows, as functions of time: a plan takes seconds since it began and says (volts, amps) at the sensor, or
None while the chip does not answer."""

# The demonstration station's USB bank, with the sensor behind its converter: 5.2 V open, 40 mΩ of cable and
# converter. Common practice, no source.
USB_OPEN_V, USB_OHM = 5.20, 0.040


def steady(volts, amps):
    """The same all the time."""
    return lambda _: (volts, amps)


def usb(watts):
    """A USB bank under a steady load."""
    amps = watts / USB_OPEN_V
    for _ in range(20):
        amps = watts / (USB_OPEN_V - USB_OHM * amps)
    return steady(USB_OPEN_V - USB_OHM * amps, amps)


def slots(receive, transmit, every_s=30.0, send_s=13.0, first_s=0.5):
    """Transmissions in every other slot of a timed mode. They begin half a second off the whole second, so that
    each sweep sees one or the other."""
    return lambda t: transmit if t >= first_s and (t - first_s) % every_s < send_s else receive


def watts(reading):
    """What flows out of the bank."""
    return 0.0 if reading is None else reading[0] * reading[1]
