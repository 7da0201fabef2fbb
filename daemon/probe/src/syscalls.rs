//! What is asked of the system other than through files: the firmware and the kernel's clock.

use std::{io, sync::Arc};

use reckon::reading::{Gap, Got};

use crate::{
    files,
    kernel::{self, ClockState},
    root::Root,
};

/// The kernel calls its clock unsynchronised when the error may be this large.
/// Source: the kernel's `kernel/time/ntp.c`; the same limit is used by systemd's timedated.
const MAX_ERROR_US: i64 = 16_000_000;

/// The firmware, as far as it can be asked.
pub(crate) trait Firmware: Send + Sync {
    /// The throttle flags.
    fn throttled(&self) -> io::Result<u32>;
    /// A text command and its text answer.
    fn command(&self, command: &str) -> io::Result<String>;
}

impl Firmware for kernel::Mailbox {
    fn throttled(&self) -> io::Result<u32> {
        kernel::Mailbox::throttled(self)
    }

    fn command(&self, command: &str) -> io::Result<String> {
        kernel::Mailbox::command(self, command)
    }
}

/// What is asked of the system other than through files. Shut below another root.
pub(crate) struct Syscalls {
    /// The firmware's mailbox, or why it cannot be opened.
    pub(crate) firmware: Result<Arc<dyn Firmware>, Gap>,
    /// The kernel's clock state.
    pub(crate) clock: Option<fn() -> io::Result<ClockState>>,
}

impl Syscalls {
    /// Open on the real machine, shut elsewhere.
    pub(crate) fn for_root(root: &Root) -> Self {
        if !root.is_real() {
            return Self { firmware: Err(Gap::Absent), clock: None };
        }
        let firmware = kernel::Mailbox::open(&root.at("/dev/vcio"), &root.at("/dev/vcio_gencmd"));
        Self {
            firmware: match firmware {
                Ok(mailbox) => Ok(Arc::new(mailbox)),
                Err(error) => Err(files::gap(&error)),
            },
            clock: Some(kernel::clock_state),
        }
    }

    /// Whether the wall clock is synchronised, or has been since the board was switched on: the
    /// kernel withdraws its word some nine hours after the last contact with a time server,
    /// although the clock is then still good to about a second.
    pub(crate) fn clock_synchronised(&self, root: &Root) -> Got<bool> {
        let kernels_word = self.clock.map(|ask| ask());
        if let Some(Ok(state)) = kernels_word
            && synchronised(state)
        {
            return Ok(true);
        }
        // Touched at each synchronisation of this boot. Source: systemd-timesyncd(8).
        let flagged = root.at("/run/systemd/timesync/synchronized").exists();
        match kernels_word {
            Some(Err(error)) if !flagged => Err(files::gap(&error)),
            _ => Ok(flagged),
        }
    }
}

/// The rule of systemd's timedated: the largest error counts, not the status bit, which is also
/// set when the hardware clock runs on local time.
const fn synchronised(state: ClockState) -> bool {
    state.max_error_us < MAX_ERROR_US
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: systemd's timedated reads `maxerror` only; the vectors are a synchronised clock,
    /// one just started, a local-time hardware clock with the unsynchronised bit set, and one at
    /// the limit.
    #[test]
    fn the_clocks_state_by_its_largest_error() {
        for (status, max_error_us, want) in [
            (0x2001, 250_000, true),
            (0x2041, 16_000_000, false),
            (0x40, 1000, true),
            (0x2001, 16_000_000, false),
        ] {
            assert_eq!(synchronised(ClockState { status, max_error_us }), want, "{status:x}");
        }
    }
}
