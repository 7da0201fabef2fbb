//! The kernel calls that have no file: the clock's state, our own use of the processor, and the
//! firmware's mailbox. The only unsafe code of the crate.
#![expect(unsafe_code, reason = "these three calls have no safe wrapper among our dependencies")]

use std::{
    fs::{File, OpenOptions},
    io,
    os::fd::AsRawFd,
    path::Path,
};

/// What the kernel says about its clock.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct ClockState {
    /// Status bits.
    pub(crate) status: i32,
    /// Largest error it allows for, microseconds.
    pub(crate) max_error_us: i64,
}

/// Asks the kernel for its clock's state; changes nothing and needs no privilege.
pub(crate) fn clock_state() -> io::Result<ClockState> {
    // SAFETY: `timex` is plain integers, for which all zero bits are valid; `modes` 0 reads only.
    let (answer, timex) = unsafe {
        let mut timex: libc::timex = std::mem::zeroed();
        (libc::adjtimex(&raw mut timex), timex)
    };
    if answer < 0 {
        return Err(io::Error::last_os_error());
    }
    // The field is 32 bits wide on some targets.
    #[allow(clippy::useless_conversion, reason = "wide already on 64-bit targets")]
    let max_error_us = i64::from(timex.maxerror);
    Ok(ClockState { status: timex.status, max_error_us })
}

/// What this process has used since it began, threads that have ended included.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Usage {
    /// Processor time, seconds.
    pub(crate) cpu_s: f64,
    /// How often a thread gave the processor away by itself.
    pub(crate) switches_own: u64,
    /// How often it was taken away.
    pub(crate) switches_forced: u64,
}

/// Our own use of the processor.
pub(crate) fn usage() -> io::Result<Usage> {
    // SAFETY: `rusage` is plain integers, for which all zero bits are valid; the call fills it in.
    let (answer, usage) = unsafe {
        let mut usage: libc::rusage = std::mem::zeroed();
        (libc::getrusage(libc::RUSAGE_SELF, &raw mut usage), usage)
    };
    if answer < 0 {
        return Err(io::Error::last_os_error());
    }
    #[expect(clippy::cast_precision_loss, reason = "exact for 285 years")]
    let seconds = |time: libc::timeval| time.tv_sec as f64 + time.tv_usec as f64 * 1e-6;
    Ok(Usage {
        cpu_s: seconds(usage.ru_utime) + seconds(usage.ru_stime),
        switches_own: u64::try_from(usage.ru_nvcsw).unwrap_or(0),
        switches_forced: u64::try_from(usage.ru_nivcsw).unwrap_or(0),
    })
}

/// The firmware's mailbox.
pub(crate) struct Mailbox {
    /// Takes every question.
    all: Option<File>,
    /// Takes text commands only; newer vendor kernels have it, open to more users.
    commands: Option<File>,
}

/// Words of one exchange: six of head and tail, the command's error word, 4096 bytes of text.
const WORDS: usize = 8 + 1024;
/// `_IOWR(100, 0, char *)`.
/// Source: the vendor kernel's `drivers/char/broadcom/vcio.c`.
const EXCHANGE: u64 = 0xC000_6400 | ((size_of::<*const u8>() as u64) << 16);
/// Source: the vendor kernel's `include/soc/bcm2835/raspberrypi-firmware.h`.
const GET_THROTTLED: u32 = 0x0003_0046;
const GET_GENCMD_RESULT: u32 = 0x0003_0080;
const DONE: u32 = 0x8000_0000;

#[repr(C, align(16))]
struct MailboxMessage([u32; WORDS]);

impl Mailbox {
    /// Opens the device nodes; one is enough.
    pub(crate) fn open(all: &Path, commands: &Path) -> io::Result<Self> {
        let open = |path| OpenOptions::new().read(true).write(true).open(path);
        match (open(all), open(commands).ok()) {
            (Err(error), None) => Err(error),
            (all, commands) => Ok(Self { all: all.ok(), commands }),
        }
    }

    /// The throttle flags. The mask of sticky bits to clear is 0: the kernel's own poll clears
    /// them anyway, and we must not take them from others.
    pub(crate) fn throttled(&self) -> io::Result<u32> {
        let Some(device) = &self.all else {
            let text = self.command("get_throttled")?;
            return flag_word(text.as_bytes())
                .ok_or_else(|| io::Error::other("the firmware's answer is no flag word"));
        };
        let mut message = message(GET_THROTTLED, &[0]);
        exchange(device, &mut message)?;
        Ok(message.0[5])
    }

    /// A text command and its text answer.
    pub(crate) fn command(&self, command: &str) -> io::Result<String> {
        let mut values = vec![0_u32; WORDS - 6];
        for (i, byte) in command.bytes().enumerate().take(4 * (WORDS - 8)) {
            values[1 + i / 4] |= u32::from(byte) << (8 * (i % 4));
        }
        let mut message = message(GET_GENCMD_RESULT, &values);
        let device = self.commands.as_ref().or(self.all.as_ref());
        exchange(device.ok_or(io::ErrorKind::NotFound)?, &mut message)?;
        if message.0[5] != 0 {
            return Err(io::Error::other(format!("the firmware answers error {}", message.0[5])));
        }
        let text: Vec<u8> = message.0[6..WORDS - 1]
            .iter()
            .flat_map(|word| word.to_le_bytes())
            .take_while(|byte| *byte != 0)
            .collect();
        Ok(String::from_utf8_lossy(&text).into_owned())
    }
}

/// Hands a message in and takes the answer out, in the same words.
fn exchange(device: &File, message: &mut MailboxMessage) -> io::Result<()> {
    let at = message.0.as_mut_ptr();
    // SAFETY: the driver reads and writes at most as many bytes as the first word says, which is
    // at most the size of the message; the message outlives the call.
    let answer = unsafe { libc::ioctl(device.as_raw_fd(), EXCHANGE as _, at) };
    if answer < 0 {
        return Err(io::Error::last_os_error());
    }
    if message.0[1] != DONE {
        return Err(io::Error::other("the firmware refuses the question"));
    }
    Ok(())
}

/// One tag with its values, in the mailbox's layout.
fn message(tag: u32, values: &[u32]) -> MailboxMessage {
    let mut words = [0; WORDS];
    let bytes = |words: usize| u32::try_from(4 * words).unwrap_or(0);
    words[0] = bytes(values.len() + 6);
    words[2] = tag;
    words[3] = bytes(values.len());
    words[5..5 + values.len()].copy_from_slice(values);
    MailboxMessage(words)
}

/// The node's text: hexadecimal without `0x`; the vendor's tool puts `throttled=0x` before it.
pub(crate) fn flag_word(text: &[u8]) -> Option<u32> {
    let text = std::str::from_utf8(text).ok()?.trim();
    let text = text.strip_prefix("throttled=").unwrap_or(text);
    let digits = text.strip_prefix("0x").unwrap_or(text);
    let hex = !digits.is_empty() && digits.bytes().all(|byte| byte.is_ascii_hexdigit());
    hex.then(|| u32::from_str_radix(digits, 16).ok()).flatten()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: property mailbox layout in the vendor kernel's `drivers/firmware/raspberrypi.c`
    /// and the request built by the vendor's command-line tool: 28 bytes for one value.
    #[test]
    fn the_question_for_the_flags_is_28_bytes_in_this_order() {
        let words = message(GET_THROTTLED, &[0]).0;
        let bytes: Vec<u8> = words[..7].iter().flat_map(|word| word.to_le_bytes()).collect();
        let want = [
            0x1c, 0, 0, 0, 0, 0, 0, 0, 0x46, 0, 3, 0, 4, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0,
            0,
        ];
        assert_eq!(bytes, want);
    }

    /// Source: `_IOWR` in the kernel's `include/uapi/asm-generic/ioctl.h`.
    #[test]
    fn the_exchange_has_the_number_for_this_pointer_size() {
        let want = if size_of::<usize>() == 8 { 0xC008_6400 } else { 0xC004_6400 };
        assert_eq!(EXCHANGE, want);
    }

    #[test]
    fn without_a_mailbox_the_reason_is_handed_on() {
        let nowhere = Path::new("/nonexistent/vcio");
        let error = Mailbox::open(nowhere, nowhere).err().unwrap();
        assert_eq!(error.kind(), io::ErrorKind::NotFound);
    }

    #[test]
    fn the_running_kernel_tells_its_clock_state() {
        let state = clock_state().expect("adjtimex without modes is allowed to everybody");
        assert!(state.max_error_us >= 0);
    }
}
