//! Which board this is and what it has: facts that do not change while it runs.

use reckon::{draw::BoardKind, reading::BoardFacts, units::Amps, words};

use crate::{files, root::Root};

/// Reads all facts. What cannot be found stays empty.
pub(crate) fn facts(root: &Root) -> BoardFacts {
    let revision = revision(root);
    let model = files::line(root, &root.at("/proc/device-tree/model"));
    let decoded = revision.and_then(decode);
    let kind = decoded.and_then(|code| code.kind).or_else(|| kind_by_compatible(root));
    let mut facts = BoardFacts {
        kind,
        cores: cores(root),
        memory_mib: decoded.and_then(|code| code.memory_mib).or_else(|| memory(root)),
        input_limit: power_word(root, &["max_current"]).and_then(plausible_limit),
        usb_held_low: power_word(root, &["usb_max_current_enable"]).map(|on| on == 0),
        has_rtc: files::names(&root.at("/sys/class/rtc")).is_ok_and(|found| !found.is_empty()),
        leds: leds(root),
        kernel: files::line(root, &root.at("/proc/sys/kernel/osrelease")),
        boot_id: files::line(root, &root.at("/proc/sys/kernel/random/boot_id"))
            .filter(|id| is_boot_id(id)),
        model,
        notes: Vec::new(),
    };
    facts.notes = notes(root, &facts);
    facts
}

fn notes(root: &Root, facts: &BoardFacts) -> Vec<String> {
    let mut notes = Vec::new();
    if facts.model.is_none() {
        notes.push(words::sensor::NO_DEVICE_TREE.into());
    }
    if !facts.has_rtc {
        notes.push(words::sensor::NO_HARDWARE_CLOCK.into());
    }
    if let Some(limit) = facts.input_limit
        && limit.si() < 5.0
    {
        notes.push(words::sensor::supply_promised(limit.si()));
    }
    if power_word(root, &["usb_over_current_detected"]) == Some(1) {
        notes.push(words::sensor::USB_CUT_OFF.into());
    }
    let reset = power_word(root, &["power_reset", "reset_event"]).unwrap_or(0);
    for (bit, why) in [
        (0, words::sensor::OVER_VOLTAGE),
        (1, words::sensor::UNDER_VOLTAGE),
        (2, words::sensor::OVER_TEMPERATURE),
    ] {
        if reset & (1 << bit) != 0 {
            notes.push(words::sensor::last_restart(&why));
        }
    }
    notes
}

/// One big-endian word of the supply facts that the newest boards' firmware leaves in the device
/// tree. Two spellings are in use for some of them.
fn power_word(root: &Root, names: &[&str]) -> Option<u32> {
    names.iter().find_map(|name| {
        let path = root.at(&format!("/proc/device-tree/chosen/power/{name}"));
        word(&files::bytes(root, &path, 8).ok()?)
    })
}

fn word(bytes: &[u8]) -> Option<u32> {
    <[u8; 4]>::try_from(bytes).ok().map(u32::from_be_bytes)
}

/// A supply that promises more than 20 A at 5 V has not been built: not believed.
fn plausible_limit(milliamps: u32) -> Option<Amps> {
    (1..=20_000).contains(&milliamps).then(|| Amps::of(f64::from(milliamps) / 1000.0))
}

fn cores(root: &Root) -> Option<u16> {
    let stat = files::bytes(root, &root.at("/proc/stat"), files::MOST_STAT).ok()?;
    let count = stat
        .split(|byte| *byte == b'\n')
        .filter(|line| line.starts_with(b"cpu") && line.get(3).is_some_and(u8::is_ascii_digit))
        .count();
    u16::try_from(count).ok().filter(|count| *count > 0)
}

fn memory(root: &Root) -> Option<u32> {
    let text = files::text(root, &root.at("/proc/meminfo")).ok()?;
    let rest = text.lines().find_map(|line| line.strip_prefix("MemTotal:"))?;
    let kib: u64 = rest.trim().strip_suffix("kB")?.trim().parse().ok()?;
    u32::try_from(kib / 1024).ok()
}

/// On-board LEDs. Networks and keyboards bring LEDs of their own; their names have a colon.
fn leds(root: &Root) -> Vec<String> {
    let all = files::names(&root.at("/sys/class/leds")).unwrap_or_default();
    all.into_iter().filter(|name| !name.contains(':')).take(16).collect()
}

fn revision(root: &Root) -> Option<u32> {
    let tree = root.at("/proc/device-tree/system/linux,revision");
    if let Some(code) = files::bytes(root, &tree, 8).ok().as_deref().and_then(word) {
        return Some(code);
    }
    let text = files::bytes(root, &root.at("/proc/cpuinfo"), files::MOST_STAT).ok()?;
    let text = String::from_utf8_lossy(&text).into_owned();
    let line = text.lines().find_map(|line| line.strip_prefix("Revision"))?;
    u32::from_str_radix(line.trim_start().strip_prefix(':')?.trim(), 16).ok()
}

/// What a revision code says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Revision {
    /// The row of the board table; `None` for compute modules and boards that have none.
    pub(crate) kind: Option<BoardKind>,
    /// Memory.
    pub(crate) memory_mib: Option<u32>,
    /// Number of the processor: 2835, 2836, 2837, 2711, 2712.
    pub(crate) processor: Option<u16>,
    /// Revision of the board.
    pub(crate) revision: u8,
}

/// Takes a revision code apart.
///
/// Source: the vendor's documentation, 'Raspberry Pi revision codes': bits
/// `NOQuuuWu FMMMCCCC PPPPTTTT TTTTRRRR`; without bit 23 it is an old code from a list.
pub(crate) fn decode(code: u32) -> Option<Revision> {
    let bits = |from: u32, width: u32| (code >> from) & ((1 << width) - 1);
    if bits(23, 1) == 0 {
        return old_style(code & 0xffff);
    }
    let memory_mib = match bits(20, 3) {
        7 => None,
        power => Some(256 << power),
    };
    let processor = [2835, 2836, 2837, 2711, 2712].get(bits(12, 4) as usize).copied();
    let kind = kind_by_type(bits(4, 8));
    Some(Revision { kind, memory_mib, processor, revision: (bits(0, 4) & 0xf) as u8 })
}

fn kind_by_type(code: u32) -> Option<BoardKind> {
    Some(match code {
        0x00 => BoardKind::OneA,
        0x01 => BoardKind::OneB,
        0x02 => BoardKind::OneAPlus,
        0x03 => BoardKind::OneBPlus,
        0x04 => BoardKind::TwoB,
        0x08 => BoardKind::ThreeB,
        0x09 => BoardKind::Zero,
        0x0c => BoardKind::ZeroW,
        0x0d => BoardKind::ThreeBPlus,
        0x0e => BoardKind::ThreeAPlus,
        0x11 => BoardKind::FourB,
        0x12 => BoardKind::ZeroTwoW,
        0x13 => BoardKind::FourHundred,
        0x17 => BoardKind::Five,
        0x19 => BoardKind::FiveHundred,
        _ => return None,
    })
}

fn old_style(code: u32) -> Option<Revision> {
    let kind = match code {
        0x02..=0x06 | 0x0d..=0x0f => Some(BoardKind::OneB),
        0x07..=0x09 => Some(BoardKind::OneA),
        0x10 | 0x13 => Some(BoardKind::OneBPlus),
        0x12 | 0x15 => Some(BoardKind::OneAPlus),
        0x11 | 0x14 => None,
        _ => return None,
    };
    Some(Revision { kind, memory_mib: None, processor: None, revision: 0 })
}

/// Source: the root `compatible` strings of the boards' device trees in the kernel,
/// `arch/arm/boot/dts/broadcom` and `arch/arm64/boot/dts/broadcom`.
fn kind_by_compatible(root: &Root) -> Option<BoardKind> {
    let text = files::text(root, &root.at("/proc/device-tree/compatible")).ok()?;
    text.split('\0').find_map(|name| {
        Some(match name.strip_prefix("raspberrypi,")? {
            "model-a" => BoardKind::OneA,
            "model-b" | "model-b-rev2" => BoardKind::OneB,
            "model-a-plus" => BoardKind::OneAPlus,
            "model-b-plus" => BoardKind::OneBPlus,
            "2-model-b" => BoardKind::TwoB,
            "3-model-b" => BoardKind::ThreeB,
            "3-model-a-plus" => BoardKind::ThreeAPlus,
            "3-model-b-plus" => BoardKind::ThreeBPlus,
            "4-model-b" => BoardKind::FourB,
            "400" => BoardKind::FourHundred,
            "5-model-b" => BoardKind::Five,
            "500" => BoardKind::FiveHundred,
            "model-zero" => BoardKind::Zero,
            "model-zero-w" => BoardKind::ZeroW,
            "model-zero-2-w" => BoardKind::ZeroTwoW,
            _ => return None,
        })
    })
}

/// Whether the board can notice undervoltage.
///
/// Source: the vendor's power-supply documentation: all boards since the B+ of 2014 except the
/// Zero range. Compute modules depend on their carrier: not claimed.
pub(crate) const fn has_undervoltage_detector(kind: Option<BoardKind>) -> bool {
    match kind {
        None
        | Some(
            BoardKind::OneA
            | BoardKind::OneB
            | BoardKind::Zero
            | BoardKind::ZeroW
            | BoardKind::ZeroTwoW,
        ) => false,
        Some(
            BoardKind::OneAPlus
            | BoardKind::OneBPlus
            | BoardKind::TwoB
            | BoardKind::ThreeB
            | BoardKind::ThreeAPlus
            | BoardKind::ThreeBPlus
            | BoardKind::FourB
            | BoardKind::FourHundred
            | BoardKind::Five
            | BoardKind::FiveHundred,
        ) => true,
    }
}

/// Boards with a power-management chip that measures its own rails.
pub(crate) const fn has_power_adc(kind: Option<BoardKind>) -> bool {
    matches!(kind, Some(BoardKind::Five | BoardKind::FiveHundred))
}

/// Whether it names one boot and no other: a random UUID as the kernel prints it (proc_sys_kernel(5),
/// `random/boot_id`; RFC 9562 section 4). Anything else would make all boots one.
fn is_boot_id(text: &str) -> bool {
    let dash = |place: usize| [8, 13, 18, 23].contains(&place);
    text.len() == 36
        && text.bytes().enumerate().all(|(place, byte)| match byte {
            b'-' => dash(place),
            _ => !dash(place) && byte.is_ascii_hexdigit(),
        })
        && text.bytes().any(|byte| !matches!(byte, b'0' | b'-'))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: vendor's documentation 'Raspberry Pi revision codes', field tables; the codes are
    /// from its list of codes in use.
    #[test]
    fn revision_codes_of_the_vendors_list() {
        use BoardKind as K;
        for (code, kind, memory, processor, revision) in [
            (0x0090_2120, K::ZeroTwoW, 512, 2837, 0),
            (0x0090_00c1, K::ZeroW, 512, 2835, 1),
            (0x0090_0093, K::Zero, 512, 2835, 3),
            (0x00a0_2082, K::ThreeB, 1024, 2837, 2),
            (0x00a0_20d3, K::ThreeBPlus, 1024, 2837, 3),
            (0x00a0_2042, K::TwoB, 1024, 2837, 2),
            (0x00c0_3112, K::FourB, 4096, 2711, 2),
            (0x00c0_3114, K::FourB, 4096, 2711, 4),
            (0x00c0_3130, K::FourHundred, 4096, 2711, 0),
            (0x00b0_4170, K::Five, 2048, 2712, 0),
            (0x00c0_4170, K::Five, 4096, 2712, 0),
            (0x00d0_4170, K::Five, 8192, 2712, 0),
            (0x00e0_4171, K::Five, 16384, 2712, 1),
            (0x00d0_4190, K::FiveHundred, 8192, 2712, 0),
            (0x02a0_1041, K::TwoB, 1024, 2836, 1),
        ] {
            let want = Revision {
                kind: Some(kind),
                memory_mib: Some(memory),
                processor: Some(processor),
                revision,
            };
            assert_eq!(decode(code), Some(want), "{code:x}");
        }
        assert_eq!(decode(0x000e).and_then(|code| code.kind), Some(K::OneB));
        assert_eq!(decode(0x0000), None);
    }

    #[test]
    fn only_what_the_kernel_prints_names_a_boot() {
        assert!(is_boot_id("51e0c7aa-1f6e-4c63-8a0d-2b3c4d5e6f70"));
        for bad in [
            "",
            "unknown",
            "51e0c7aa",
            "00000000-0000-0000-0000-000000000000",
            "51e0c7aa-1f6e-4c63-8a0d-2b3c4d5e6f7g",
            "51e0c7aa01f6e-4c63-8a0d-2b3c4d5e6f70",
            "51e0c7aa-1f6e-4c63-8a0d-2b3c4d5e6f7-",
            "51e0c7aa-1f6e-4c63-8a0d-2b3c4d5e6f700",
        ] {
            assert!(!is_boot_id(bad), "{bad}");
        }
    }
}
