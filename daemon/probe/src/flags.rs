//! The vendor's flags about supply and heat: the firmware's node in `/sys`, else its mailbox, else
//! the kernel's alarm file.
//!
//! The kernel clears the firmware's sticky bits every two seconds, so they only say what has
//! happened lately; whoever wants to count has to latch. Where a board has no detector, silence is
//! never taken for 'fine'.

use std::{path::PathBuf, sync::Arc};

use reckon::{
    draw::BoardKind,
    reading::{Flags, Gap, Got, Strain, Via},
    time::Mono,
    words,
};

use crate::{
    board,
    files::{self, Attr},
    kernel,
    root::Root,
    source::{BoardPart, Channel, Reading, Source},
    syscalls::{Firmware, Syscalls},
};

/// Where and how the flags are read.
enum FlagSource {
    Node(Attr),
    Mailbox(Arc<dyn Firmware>),
    Alarm(Attr),
}

/// The flags of this board.
pub(crate) struct BoardFlags {
    root: Root,
    kind: Option<BoardKind>,
    channel: [Channel; 1],
    source: FlagSource,
}

impl BoardFlags {
    /// The best way to the flags, and what to say if there is none.
    pub(crate) fn find(
        root: &Root,
        kind: Option<BoardKind>,
        syscalls: &Syscalls,
    ) -> Result<Self, String> {
        let source = if let Some(path) = node(root) {
            FlagSource::Node(Attr::new(path))
        } else if let Some(firmware) = mailbox(syscalls) {
            FlagSource::Mailbox(firmware)
        } else if let Some(path) = alarm(root) {
            FlagSource::Alarm(Attr::new(path))
        } else {
            return Err(nothing(syscalls, kind));
        };
        let (title, limits) = match &source {
            FlagSource::Node(_) => ("Firmware flags", None),
            FlagSource::Mailbox(_) => ("Firmware flags (mailbox)", None),
            FlagSource::Alarm(_) => ("Undervoltage alarm", Some(words::sensor::ONLY_UNDERVOLTAGE)),
        };
        let mut channel = Channel::new("board-flags", title, Via::BoardFlags);
        channel.notes.extend(limits.map(str::to_owned));
        channel.notes.push(detector_note(kind));
        Ok(Self { root: root.clone(), kind, channel: [channel], source })
    }

    fn part(&mut self) -> BoardPart {
        match &mut self.source {
            FlagSource::Node(attr) => {
                let mut buffer = [0; 64];
                let answer = attr
                    .read(&self.root, &mut buffer)
                    .map_err(|error| files::gap(&error))
                    .and_then(|text| kernel::flag_word(text).ok_or(Gap::Garbled));
                if answer == Err(Gap::Gone)
                    && let Some(path) = node(&self.root)
                {
                    *attr = Attr::new(path);
                }
                self.with_flags(answer)
            }
            FlagSource::Mailbox(firmware) => {
                let answer = firmware.throttled().map_err(|error| files::gap(&error));
                self.with_flags(answer)
            }
            FlagSource::Alarm(attr) => {
                let answer = attr.number(&self.root);
                if answer == Err(Gap::Gone)
                    && let Some(path) = alarm(&self.root)
                {
                    *attr = Attr::new(path);
                }
                let alarm = answer.and_then(|value| match value {
                    0 => Ok(false),
                    1 => Ok(true),
                    _ => Err(Gap::Garbled),
                });
                BoardPart { undervoltage: Some(self.believe(alarm)), ..BoardPart::NOTHING }
            }
        }
    }

    fn with_flags(&self, answer: Got<u32>) -> BoardPart {
        let flags = answer.map(flags);
        let undervoltage = self.believe(flags.map(|flags| flags.now.undervoltage));
        BoardPart { flags: Some(flags), undervoltage: Some(undervoltage), ..BoardPart::NOTHING }
    }

    /// A raised flag is believed anywhere but on boards that are known to have no detector; a flag
    /// that is not raised only where there is one.
    fn believe(&self, flag: Got<bool>) -> Got<bool> {
        let detector = board::has_undervoltage_detector(self.kind);
        match flag {
            Ok(true) if detector || self.kind.is_none() => Ok(true),
            Ok(_) if !detector => Err(Gap::NotMeasurable),
            other => other,
        }
    }
}

impl Source for BoardFlags {
    fn channels(&self) -> &[Channel] {
        &self.channel
    }

    fn may_block(&self) -> bool {
        matches!(self.source, FlagSource::Mailbox(_))
    }

    fn read(&mut self, _at: Mono, into: &mut Vec<Reading>) {
        into.push(Reading::Board(self.part()));
    }
}

/// Boards of the newest family have the node under a longer name, if at all.
fn node(root: &Root) -> Option<PathBuf> {
    let platform = root.at("/sys/devices/platform");
    let soc = files::names(&platform).ok()?.into_iter().filter(|name| name.starts_with("soc"));
    let by_place = soc.flat_map(|soc| {
        let dir = platform.join(soc);
        let below = files::names(&dir).unwrap_or_default();
        below
            .into_iter()
            .filter(|name| name.starts_with("soc") && name.ends_with(":firmware"))
            .map(move |name| dir.join(name))
            .collect::<Vec<_>>()
    });
    let drivers = root.at("/sys/bus/platform/drivers/raspberrypi-firmware");
    let by_driver = files::names(&drivers).unwrap_or_default();
    by_place
        .chain(by_driver.into_iter().map(|name| drivers.join(name)))
        .map(|dir| dir.join("get_throttled"))
        .find(|path| path.exists())
}

fn mailbox(syscalls: &Syscalls) -> Option<Arc<dyn Firmware>> {
    let firmware = syscalls.firmware.as_ref().ok()?;
    firmware.throttled().is_ok().then(|| Arc::clone(firmware))
}

/// The alarm of the monitor named `rpi_volt`. Its voltages are rails inside the processor and have
/// nothing to do with the supply.
fn alarm(root: &Root) -> Option<PathBuf> {
    let class = root.at("/sys/class/hwmon");
    files::names(&class)
        .ok()?
        .into_iter()
        .map(|entry| class.join(entry))
        .find(|home| files::line(root, &home.join("name")).as_deref() == Some("rpi_volt"))
        .map(|home| home.join("in0_lcrit_alarm"))
        .filter(|path| path.exists())
}

fn nothing(syscalls: &Syscalls, kind: Option<BoardKind>) -> String {
    match (kind, &syscalls.firmware) {
        (Some(_), Err(Gap::Denied)) => words::sensor::FLAGS_DENIED,
        (Some(_), _) => words::sensor::FLAGS_NO_MODULE,
        (None, _) => words::sensor::NO_FLAGS,
    }
    .into()
}

fn detector_note(kind: Option<BoardKind>) -> String {
    if board::has_undervoltage_detector(kind) {
        words::sensor::UNDERVOLTAGE_MEANS
    } else if kind.is_some() {
        words::sensor::NO_DETECTOR
    } else {
        words::sensor::DETECTOR_UNKNOWN
    }
    .into()
}

/// The bits. Others are not ours and ignored.
///
/// Source: the vendor's documentation of `vcgencmd get_throttled`.
const fn flags(bits: u32) -> Flags {
    const fn strain(bits: u32) -> Strain {
        Strain {
            undervoltage: bits & 1 != 0,
            capped: bits & 2 != 0,
            throttled: bits & 4 != 0,
            soft_hot: bits & 8 != 0,
        }
    }
    Flags { now: strain(bits), lately: strain(bits | bits >> 16) }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: the bit table in the vendor's documentation of `vcgencmd get_throttled`; 0x50005
    /// and 0x80008 stand in published logs.
    #[test]
    fn bits_of_the_vendors_table() {
        let strain = |bits: [u8; 4]| Strain {
            undervoltage: bits[0] == 1,
            capped: bits[1] == 1,
            throttled: bits[2] == 1,
            soft_hot: bits[3] == 1,
        };
        for (text, now, lately) in [
            ("0\n", [0, 0, 0, 0], [0, 0, 0, 0]),
            ("50005\n", [1, 0, 1, 0], [1, 0, 1, 0]),
            ("50000\n", [0, 0, 0, 0], [1, 0, 1, 0]),
            ("80008\n", [0, 0, 0, 1], [0, 0, 0, 1]),
            ("20002\n", [0, 1, 0, 0], [0, 1, 0, 0]),
            ("e0008\n", [0, 0, 0, 1], [0, 1, 1, 1]),
            ("80000\n", [0, 0, 0, 0], [0, 0, 0, 1]),
            ("throttled=0x50005\n", [1, 0, 1, 0], [1, 0, 1, 0]),
            // Hexadecimal, not ten; and a bit that nobody has named yet.
            ("10\n", [0, 0, 0, 0], [0, 0, 0, 0]),
            ("ffff0010\n", [0, 0, 0, 0], [1, 1, 1, 1]),
        ] {
            let want = Flags { now: strain(now), lately: strain(lately) };
            assert_eq!(kernel::flag_word(text.as_bytes()).map(flags), Some(want), "{text}");
        }
    }

    #[test]
    fn what_is_no_flag_word_is_refused() {
        for text in ["", "\n", "0x", "-1", "+5", "throttled=", "xyz", "100000000", "0x0x1"] {
            assert_eq!(kernel::flag_word(text.as_bytes()), None, "{text}");
        }
    }
}
