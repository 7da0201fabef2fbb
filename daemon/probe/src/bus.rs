//! The wire to the power monitors: the three transfers they need, and what a failed one means.
//!
//! Only SMBus transfers are used. Every real I²C adapter emulates them, the kernel's emulated
//! adapter has nothing else, and each of them passes the kernel's check whether a driver owns the
//! chip. The raw combined transfer (`I2C_RDWR`) skips that check and is therefore never used, nor
//! is the call that overrides it (`I2C_SLAVE_FORCE`).
//! Source: Linux kernel, Documentation/i2c/dev-interface.rst and fault-codes.rst.

use std::path::PathBuf;

use i2cdev::{
    core::I2CDevice,
    linux::{LinuxI2CDevice, LinuxI2CError},
};
use reckon::{reading::Gap, words};

#[cfg(test)]
pub(crate) mod fake;

/// What came back over the wire, or why nothing did.
pub(crate) type BusResult<T> = Result<T, Trouble>;

/// A bus with chips on it, each at its 7-bit address.
pub(crate) trait Bus: Send {
    /// A 16-bit register, most significant byte first on the wire.
    fn read_word(&mut self, at: u8, register: u8) -> BusResult<u16>;

    /// A longer register, bytes in the order of the wire; at most 32.
    fn read_block(&mut self, at: u8, register: u8, into: &mut [u8]) -> BusResult<()>;

    /// Sets a 16-bit register. Only for a chip that has proved what it is.
    fn write_word(&mut self, at: u8, register: u8, word: u16) -> BusResult<()>;
}

/// Why a transfer failed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Trouble {
    /// Nobody acknowledged the address.
    NoAcknowledge,
    /// A kernel driver owns the chip.
    DriverOwns,
    /// The system does not let us use the bus.
    Denied,
    /// The bus itself is not there.
    NoBus,
    /// Another master spoke at the same time.
    Arbitration,
    /// A line of the bus is held low.
    HeldLow,
    /// The adapter cannot do this kind of transfer.
    Unsupported,
    /// Any other error number.
    Failed(i32),
}

impl Trouble {
    /// The meaning of an error number from a transfer or from setting the address.
    /// Source: Linux kernel, Documentation/i2c/fault-codes.rst; `EREMOTEIO` for a missing
    /// acknowledge is what some controllers give instead (BCM2835: from memory), `ENODEV` what the
    /// kernel's emulated adapter gives (drivers/i2c/i2c-stub.c, seen on Linux 6.1).
    pub(crate) const fn of_errno(errno: i32) -> Self {
        match errno {
            libc::ENXIO | libc::EREMOTEIO | libc::ENODEV => Self::NoAcknowledge,
            libc::EBUSY => Self::DriverOwns,
            libc::EACCES | libc::EPERM => Self::Denied,
            libc::ENOENT => Self::NoBus,
            libc::EAGAIN => Self::Arbitration,
            libc::ETIMEDOUT => Self::HeldLow,
            libc::EOPNOTSUPP | libc::ENOTTY | libc::ENOSYS => Self::Unsupported,
            other => Self::Failed(other),
        }
    }

    /// The same from opening the device file: there, 'no such device' speaks of the bus.
    pub(crate) const fn of_opening(errno: i32) -> Self {
        match errno {
            libc::ENXIO | libc::ENODEV => Self::NoBus,
            other => Self::of_errno(other),
        }
    }

    /// What the reading is marked with.
    pub(crate) const fn gap(self) -> Gap {
        match self {
            Self::DriverOwns | Self::NoBus => Gap::Gone,
            Self::Denied => Gap::Denied,
            Self::Unsupported => Gap::NotMeasurable,
            Self::NoAcknowledge | Self::Arbitration | Self::HeldLow | Self::Failed(_) => {
                Gap::NoAnswer
            }
        }
    }

    /// What failed and what to do, for a person.
    pub(crate) fn says(self, bus: u32) -> String {
        match self {
            Self::NoAcknowledge => words::sensor::NO_ANSWER.into(),
            Self::DriverOwns => words::sensor::TAKEN_BY_DRIVER.into(),
            Self::Denied => words::sensor::bus_denied(&bus),
            Self::NoBus => words::sensor::bus_absent(&bus),
            Self::Arbitration => words::sensor::OTHER_MASTER.into(),
            Self::HeldLow => words::sensor::line_low(&bus),
            Self::Unsupported => words::sensor::no_transfer(&bus),
            Self::Failed(errno) => words::sensor::bus_error(&bus, &errno),
        }
    }
}

/// A bus of this system, by its device file. Opened when first needed and again after it vanished.
#[derive(Debug)]
pub(crate) struct LinuxBus {
    path: PathBuf,
    open: Option<LinuxI2CDevice>,
}

impl LinuxBus {
    /// The bus behind a device file such as `/dev/i2c-1`.
    pub(crate) fn at(path: PathBuf) -> Self {
        Self { path, open: None }
    }

    /// The open device, set to that address. The address is set anew before every transfer: that
    /// is the moment at which the kernel refuses a chip that a driver has taken meanwhile, and it
    /// costs no time on the wire.
    fn device(&mut self, at: u8) -> BusResult<&mut LinuxI2CDevice> {
        match &mut self.open {
            Some(device) => device
                .set_slave_address(u16::from(at))
                .map_err(|error| Trouble::of_errno(errno(&error)))?,
            None => match LinuxI2CDevice::new(&self.path, u16::from(at)) {
                Ok(device) => self.open = Some(device),
                Err(error) => return Err(Trouble::of_opening(errno(&error))),
            },
        }
        self.open.as_mut().ok_or(Trouble::NoBus)
    }

    /// One transfer, tried once more if another master was in the way.
    fn transfer<T>(
        &mut self,
        at: u8,
        mut act: impl FnMut(&mut LinuxI2CDevice) -> Result<T, LinuxI2CError>,
    ) -> BusResult<T> {
        let mut first = true;
        loop {
            let error = match act(self.device(at)?) {
                Ok(value) => return Ok(value),
                Err(error) => errno(&error),
            };
            if error == libc::ENODEV {
                // Perhaps the bus itself is gone: opening it anew will tell.
                self.open = None;
            }
            match Trouble::of_errno(error) {
                Trouble::Arbitration if first => first = false,
                trouble => return Err(trouble),
            }
        }
    }
}

impl Bus for LinuxBus {
    fn read_word(&mut self, at: u8, register: u8) -> BusResult<u16> {
        self.transfer(at, |device| device.smbus_read_word_data(register)).map(turned)
    }

    fn read_block(&mut self, at: u8, register: u8, into: &mut [u8]) -> BusResult<()> {
        let Some(length) = u8::try_from(into.len()).ok().filter(|length| *length <= 32) else {
            return Err(Trouble::Unsupported);
        };
        let bytes =
            self.transfer(at, |device| device.smbus_read_i2c_block_data(register, length))?;
        if bytes.len() != into.len() {
            return Err(Trouble::Failed(libc::EPROTO));
        }
        into.copy_from_slice(&bytes);
        Ok(())
    }

    fn write_word(&mut self, at: u8, register: u8, word: u16) -> BusResult<()> {
        self.transfer(at, |device| device.smbus_write_word_data(register, turned(word)))
    }
}

/// SMBus sends the low byte of a word first, these chips the high one.
/// Source: Linux kernel, Documentation/i2c/smbus-protocol.rst, 'SMBus Read Word'.
const fn turned(word: u16) -> u16 {
    word.swap_bytes()
}

/// The error number within the library's error.
fn errno(error: &LinuxI2CError) -> i32 {
    match error {
        LinuxI2CError::Errno(errno) => *errno,
        LinuxI2CError::Io(error) => error.raw_os_error().unwrap_or(libc::EIO),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn error_numbers_become_reasons() {
        // Source: Linux kernel, Documentation/i2c/fault-codes.rst (ENXIO no acknowledge, EAGAIN
        // lost arbitration, ETIMEDOUT bus held, EOPNOTSUPP, EBUSY); drivers/i2c/i2c-stub.c
        // (ENODEV); open(2) for EACCES and ENOENT; EREMOTEIO: from memory.
        for (errno, want) in [
            (libc::ENXIO, Gap::NoAnswer),
            (libc::EREMOTEIO, Gap::NoAnswer),
            (libc::EAGAIN, Gap::NoAnswer),
            (libc::ETIMEDOUT, Gap::NoAnswer),
            (libc::EIO, Gap::NoAnswer),
            (libc::EBUSY, Gap::Gone),
            (libc::ENODEV, Gap::NoAnswer),
            (libc::ENOENT, Gap::Gone),
            (libc::EACCES, Gap::Denied),
            (libc::EOPNOTSUPP, Gap::NotMeasurable),
        ] {
            let trouble = Trouble::of_errno(errno);
            assert_eq!(trouble.gap(), want, "errno {errno}");
            assert!(trouble.says(1).ends_with('.'), "errno {errno} has a sentence");
        }
        for errno in [libc::ENXIO, libc::EREMOTEIO, libc::ENODEV] {
            assert_eq!(Trouble::of_errno(errno), Trouble::NoAcknowledge, "errno {errno}");
        }
        for errno in [libc::ENOENT, libc::ENODEV, libc::ENXIO] {
            assert_eq!(Trouble::of_opening(errno), Trouble::NoBus, "open(2): errno {errno}");
        }
        assert_eq!(Trouble::of_opening(libc::EACCES), Trouble::Denied);
        assert!(Trouble::Denied.says(1).contains("group i2c"));
        assert!(Trouble::NoBus.says(1).contains("i2c-dev"));
    }

    #[test]
    fn words_are_turned_round_on_the_way() {
        // What crosses the wire, first byte first, and what the register holds. Contents: INA219
        // SBOS448G figure 19 (configuration) and figure 24 (5.12 V, conversion ready), INA226
        // SBOS547B manufacturer ID. The kernel makes a word of the two bytes, low byte first.
        for (wire, want) in [([0x39, 0x9F], 0x399F), ([0x54, 0x49], 0x5449), ([0x28, 0x02], 0x2802)]
        {
            let heard = u16::from_le_bytes(wire);
            assert_eq!(turned(heard), want);
            assert_eq!(turned(want).to_le_bytes(), wire, "and back");
        }
    }

    #[test]
    fn a_bus_that_is_not_there_says_so() {
        let mut bus = LinuxBus::at("/nonexistent/i2c-7".into());
        assert_eq!(bus.read_word(0x40, 0), Err(Trouble::NoBus));
        assert_eq!(bus.write_word(0x40, 0, 1), Err(Trouble::NoBus));
    }

    #[test]
    fn a_file_that_is_no_bus_is_refused() {
        // ioctl(2): ENOTTY for a file that does not take the request.
        let mut bus = LinuxBus::at("/dev/null".into());
        assert_eq!(bus.read_word(0x40, 0), Err(Trouble::Unsupported));
        assert_eq!(bus.read_block(0x40, 4, &mut [0; 33]), Err(Trouble::Unsupported));
    }
}
