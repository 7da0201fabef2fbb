//! What may be a name: of the station, a bank, an outing, an activity, an accessory, a sensor; and
//! what a mark may say. One rule for every door: settings, commands, forms, JSON, imported files.

use alloc::{borrow::ToOwned, string::String};

/// Most characters of a name.
pub const LONGEST: usize = 64;
/// Most characters of a mark.
pub const LONGEST_MARK: usize = 200;

/// Why a text cannot be a name; [`crate::words::name_fault`] puts it into words.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NameFault {
    /// There is nothing but space.
    Missing,
    /// It has more characters than this.
    TooLong(usize),
    /// A character in it is not [plain](is_plain).
    NotPlain,
}

/// The name without space around it.
///
/// # Errors
/// It is empty, too long, or not plain.
pub fn checked(text: &str) -> Result<String, NameFault> {
    let name = line(text, LONGEST)?;
    if name.is_empty() { Err(NameFault::Missing) } else { Ok(name) }
}

/// A text that may be empty, without space around it.
///
/// # Errors
/// It is longer than `most` characters, or not plain.
pub fn line(text: &str, most: usize) -> Result<String, NameFault> {
    let text = text.trim();
    if text.chars().count() > most {
        Err(NameFault::TooLong(most))
    } else if text.chars().all(is_plain) {
        Ok(text.to_owned())
    } else {
        Err(NameFault::NotPlain)
    }
}

/// What can be kept of a text that nobody is there to correct, such as a file's or a chip's.
#[must_use]
pub fn mended(text: &str, most: usize) -> String {
    text.trim().chars().filter(|c| is_plain(*c)).take(most).collect()
}

/// Neither a control character, nor one that breaks the line, nor one that changes the direction of
/// what is written around it and so could make one name look like another.
///
/// The directional formatting characters are those of Unicode Standard Annex #9 (Unicode
/// Bidirectional Algorithm), section 2: embeddings, overrides and their end U+202A to U+202E,
/// isolates U+2066 to U+2069, marks U+200E, U+200F and U+061C. U+2028 and U+2029 part lines and
/// paragraphs (Unicode Standard, section 5.8).
#[must_use]
pub fn is_plain(c: char) -> bool {
    !(c.is_control()
        || matches!(
            c,
            '\u{61c}'
                | '\u{200e}'
                | '\u{200f}'
                | '\u{2028}'..='\u{202e}'
                | '\u{2066}'..='\u{2069}'
        ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_one_plain_line() {
        assert_eq!(checked(" Old quarry, in the cold "), Ok("Old quarry, in the cold".to_owned()));
        for text in ["Höhle", "בנק", "電池", "O'Neill & <b>", "a\u{300}", "e\u{200d}f"] {
            assert_eq!(checked(text).as_deref(), Ok(text));
        }
        assert_eq!((checked(" "), line(" ", 3)), (Err(NameFault::Missing), Ok(String::new())));
        let long = "ä".repeat(65);
        assert_eq!(checked(&long), Err(NameFault::TooLong(64)));
        assert!(checked(&long[2..]).is_ok(), "64 characters, not bytes");
    }

    #[test]
    fn what_is_not_plain_is_refused_or_left_out() {
        // The Bidi_Control property of the Unicode Character Database (PropList.txt), all twelve.
        let bidi = [
            0x061c, 0x200e, 0x200f, 0x202a, 0x202b, 0x202c, 0x202d, 0x202e, 0x2066, 0x2067, 0x2068,
            0x2069,
        ];
        let others = [0x00, 0x07, 0x0a, 0x0d, 0x1b, 0x7f, 0x85, 0x9b, 0x2028, 0x2029];
        for code in bidi.into_iter().chain(others) {
            let c = char::from_u32(code).unwrap();
            let text = alloc::format!("Blue{c}ten");
            assert_eq!(checked(&text), Err(NameFault::NotPlain), "U+{code:04X}");
            assert_eq!(mended(&text, 64), "Blueten", "U+{code:04X}");
        }
        assert_eq!(mended(" Blue ten ", 4), "Blue");
    }
}
