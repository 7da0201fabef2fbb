//! The I²C bus as the chips see it.
