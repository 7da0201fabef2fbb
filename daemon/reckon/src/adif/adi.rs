//! ADI files: `<NAME:LENGTH[:TYPE]>value`, `<EOH>` after the header, `<EOR>` after a record.
//!
//! Source: ADIF 3.1.6, chapter 'ADI File Format'. A file has a header if its first character is
//! not `<`. Lengths count characters, and a file of this kind holds only ASCII; what is found in
//! the wild also counts UTF-8 by bytes or by characters, so both are tried.

use super::{
    log::Fault,
    record::{Lines, Record, Taker, accept_unended, short},
};

pub(super) fn read(text: &[u8], taker: &mut Taker) {
    let mut lines = Lines::new(text);
    let mut at = header_end(text);
    let first = skip_blank(text, at);
    let mut record = Record::at(lines.at(first));
    let mut ends = Ends { text, next: 0 };
    let mut tags = 0_usize;
    while let Some(open) = find(text, at, b'<') {
        if record.fields == 0 && record.fault.is_none() {
            record.line = lines.at(open);
        }
        let Some(tag) = tag(text, open) else {
            // A lone '<' in what stands between fields.
            at = open + 1;
            continue;
        };
        tags += 1;
        at = match tag.kind {
            Kind::Record => {
                if !taker.accept(core::mem::replace(&mut record, Record::at(0))) {
                    return;
                }
                tag.end
            }
            Kind::Header => {
                record = Record::at(0);
                tag.end
            }
            Kind::Bad => {
                record.fail(Fault::BadTag(short(tag.name)));
                tag.end
            }
            Kind::Field(length) => {
                let record_end = ends.after(tag.end);
                field(text, &tag, length, record_end, &mut record)
            }
        };
    }
    if tags == 0 {
        taker.complain(1, None, Fault::NotALog);
    } else if record.fields > 0 || record.fault.is_some() {
        accept_unended(taker, record);
    }
}

/// Takes a field; where to go on.
fn field(
    text: &[u8],
    tag: &Tag<'_>,
    length: usize,
    record_end: usize,
    record: &mut Record,
) -> usize {
    // A value that reaches past the end of its record has a wrong length. That costs this record,
    // not the ones after it: go on behind the tag.
    let reach = tag.end.checked_add(length).filter(|end| *end <= text.len());
    let holds_end =
        reach.is_some_and(|end| end > record_end && holds_a_mere_end(text, tag.end, end));
    let within = reach.is_some_and(|end| end <= record_end) || holds_end;
    let record_end = if holds_end { text.len() } else { record_end };
    let rest = text.get(tag.end..record_end).unwrap_or_default();
    let Some(end) = value_end(rest, length).filter(|_| within) else {
        record.fail(Fault::CutOff(short(tag.name)));
        return tag.end;
    };
    if let Ok(name) = core::str::from_utf8(tag.name) {
        record.insert(name, rest.get(..end).unwrap_or_default());
    }
    tag.end + end
}

/// A remark may speak of `<EOR>`, and hold a lone `<`: its length leads to the next tag then, and no
/// tag with a length is swallowed, as it would be by a length that is wrong.
fn holds_a_mere_end(text: &[u8], from: usize, to: usize) -> bool {
    let value = text.get(from..to).unwrap_or_default();
    let rest = text.get(to..).unwrap_or_default();
    let swallowed = value.iter().enumerate().any(|(at, byte)| {
        *byte == b'<' && tag(value, at).is_some_and(|tag| matches!(tag.kind, Kind::Field(_)))
    });
    !swallowed && rest.trim_ascii_start().first() == Some(&b'<')
}

/// Ends of records on the way through a file, each looked for once.
struct Ends<'a> {
    text: &'a [u8],
    next: usize,
}

impl Ends<'_> {
    /// Where the record that this place lies in ends, or the file.
    fn after(&mut self, place: usize) -> usize {
        if self.next < place {
            let rest = self.text.get(place..).unwrap_or_default();
            let found = rest.windows(5).position(|five| five.eq_ignore_ascii_case(b"<eor>"));
            self.next = found.map_or(self.text.len(), |at| place + at);
        }
        self.next
    }
}

/// End of a value of so many bytes, or, where that does not lead to the next tag but as many
/// characters do, of so many characters.
fn value_end(rest: &[u8], length: usize) -> Option<usize> {
    if length > rest.len() {
        return None;
    }
    let by_bytes = Some(length);
    let part = rest.get(..length.saturating_mul(4).min(rest.len())).unwrap_or_default();
    if part.get(..length.min(part.len())).unwrap_or_default().is_ascii() {
        return by_bytes;
    }
    if by_bytes.is_some_and(|end| leads_on(rest, end)) {
        return by_bytes;
    }
    let mut seen = 0;
    let by_characters = part.iter().enumerate().find_map(|(at, byte)| {
        seen += usize::from(byte & 0xc0 != 0x80);
        (seen > length).then_some(at)
    });
    by_characters.filter(|end| leads_on(rest, *end)).or(by_bytes)
}

/// Nothing but blanks up to the next tag or the end.
fn leads_on(rest: &[u8], end: usize) -> bool {
    let after = rest.get(end..).unwrap_or_default();
    after.iter().find(|byte| !byte.is_ascii_whitespace()).is_none_or(|byte| *byte == b'<')
}

enum Kind {
    Header,
    Record,
    Field(usize),
    Bad,
}

struct Tag<'a> {
    name: &'a [u8],
    kind: Kind,
    end: usize,
}

/// No tag of the standard is longer, application-defined names included.
const LONGEST_TAG: usize = 200;

/// Reads the tag that opens here; `None` if nothing closes it in reach.
fn tag(text: &[u8], open: usize) -> Option<Tag<'_>> {
    let rest = text.get(open + 1..)?;
    let reach = rest.get(..LONGEST_TAG).unwrap_or(rest);
    let close = reach.iter().position(|byte| matches!(byte, b'>' | b'<'))?;
    if reach.get(close) != Some(&b'>') {
        return None;
    }
    let inside = reach.get(..close)?;
    let mut parts = inside.split(|byte| *byte == b':');
    let name = parts.next().unwrap_or_default().trim_ascii();
    let length = parts.next();
    let kind = match length {
        None if name.eq_ignore_ascii_case(b"EOH") => Kind::Header,
        None if name.eq_ignore_ascii_case(b"EOR") => Kind::Record,
        None => Kind::Bad,
        Some(digits) => number(digits).map_or(Kind::Bad, Kind::Field),
    };
    Some(Tag { name, kind, end: open + 2 + close })
}

/// Decimal digits, leading zeros allowed on reading.
fn number(digits: &[u8]) -> Option<usize> {
    let digits = digits.trim_ascii();
    if digits.is_empty() || digits.len() > 12 || !digits.iter().all(u8::is_ascii_digit) {
        return None;
    }
    core::str::from_utf8(digits).ok()?.parse().ok()
}

/// Where the records begin.
fn header_end(text: &[u8]) -> usize {
    if text.get(skip_blank(text, 0)) == Some(&b'<') && text.first() == Some(&b'<') {
        return 0;
    }
    text.windows(5)
        .position(|five| five.eq_ignore_ascii_case(b"<eoh>"))
        .map_or(0, |found| found + 5)
}

fn skip_blank(text: &[u8], from: usize) -> usize {
    let rest = text.get(from..).unwrap_or_default();
    from + rest.iter().take_while(|byte| byte.is_ascii_whitespace()).count()
}

fn find(text: &[u8], from: usize, wanted: u8) -> Option<usize> {
    Some(from + text.get(from..)?.iter().position(|byte| *byte == wanted)?)
}
